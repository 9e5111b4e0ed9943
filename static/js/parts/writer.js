// One text that becomes one entry: kept as a draft while it is typed, its problems shown beside it.
import { html, useState } from './html.js';
import { keepDraft, readDraft } from '../offline/drafts.js';

/** @returns {{text: string, change: (text: string) => void, problems: object[], save: (body: object) => Promise<boolean>}} */
export function useWriter(id, kind, act, draftKey, start) {
  const [text, setText] = useState(() => readDraft(draftKey) ?? start);
  const [problems, setProblems] = useState([]);
  const change = (next) => {
    setText(next);
    keepDraft(draftKey, next);
  };
  const save = async (body) => {
    const answer = await act.record([{ case: id, kind, body }]);
    setProblems(answer.problems);
    if (answer.saved) keepDraft(draftKey, null);
    return Boolean(answer.saved);
  };
  return { text, change, problems, save };
}

export function Problems({ rows }) {
  return rows.length ? html`<p class="error" role="alert">${rows.map((p) => p.text).join(' ')}</p>` : null;
}
