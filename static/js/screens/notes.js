// Notes and photos of a case. A photo is made small, named by its hash and on disk before it is shown as kept.
import { html, useApp, useEffect, useState } from '../parts/html.js';
import { Button } from '../parts/button.js';
import { TextArea, TextField } from '../parts/field.js';
import { Frame, PersonName } from '../parts/frame.js';
import { TakePhoto } from '../parts/take-photo.js';
import { Problems, useWriter } from '../parts/writer.js';
import { loadPhoto } from '../offline/photos.js';
import { keepDraft, readDraft } from '../offline/drafts.js';
import { formatWhen } from '../format.js';
import { address } from '../routes.js';
import { useCase } from './case.js';

function Photo({ photo }) {
  const { act } = useApp();
  const [url, setUrl] = useState('');
  const [gone, setGone] = useState(false);
  useEffect(() => {
    let made = '';
    let left = false;
    loadPhoto(photo.sha256, act.token()).then((blob) => {
      if (left) return;
      if (!blob) setGone(true);
      else setUrl(made = URL.createObjectURL(blob));
    }, () => setGone(true));
    return () => {
      left = true;
      if (made) URL.revokeObjectURL(made);
    };
  }, [photo.sha256]);
  return html`<li class="photo" data-photo=${photo.sha256}>
    ${url ? html`<img src=${url} alt=${photo.caption || 'Photo without a caption'} loading="lazy" />` : html`<p class="help">${gone ? 'This photo is on another phone and comes with the next contact.' : 'Opening …'}</p>`}
    <p>${photo.caption}</p><p class="help">${formatWhen(photo.at)}, <${PersonName} id=${photo.by} /></p></li>`;
}

function AddPhoto({ id }) {
  const [caption, setCaption] = useState('');
  return html`<section>
    <${TextField} name="caption" label="Caption of the next photo (optional)" value=${caption} onText=${setCaption} />
    <${TakePhoto} id=${id} caption=${caption} onTaken=${() => setCaption('')} />
  </section>`;
}

function AddNote({ id }) {
  const { act } = useApp();
  const [text, setText] = useState(() => readDraft(`note.${id}`) || '');
  const [problems, setProblems] = useState([]);
  const change = (next) => {
    setText(next);
    keepDraft(`note.${id}`, next || null);
  };
  const save = async () => {
    const answer = await act.record([{ case: id, kind: 'note_added', body: { text: text.trim() } }]);
    setProblems(answer.problems);
    if (answer.saved) change('');
  };
  return html`<section>
    <${TextArea} name="note" label="New note" value=${text} onText=${change} />
    ${problems.length ? html`<p class="error" role="alert">${problems.map((p) => p.text).join(' ')}</p>` : null}
    <${Button} act="save-note" disabled=${!text.trim()} onClick=${save}>Save the note<//>
  </section>`;
}

function Answer({ id, question, act }) {
  const form = useWriter(id, 'comment_added', act, `answer.${question}`, '');
  return html`<${TextArea} name="answer" label="Your answer" value=${form.text} onText=${form.change} rows=${3} />
    <${Problems} rows=${form.problems} />
    <${Button} act="save-answer" disabled=${!form.text.trim()} onClick=${() => form.save({ text: form.text.trim(), answers: question })}>Save the answer<//>`;
}

function Comment({ id, row, isOpen, act }) {
  return html`<li class="note" data-comment=${row.entry} data-open=${isOpen}><p>${row.question ? html`<b>${isOpen ? 'Open question' : 'Question'}:</b> ` : row.answers ? html`<b>Answer:</b> ` : null}${row.text}</p>
    <p class="help">${formatWhen(row.at)}, <${PersonName} id=${row.by} /></p>
    ${isOpen ? html`<${Answer} id=${id} question=${row.entry} act=${act} />` : null}</li>`;
}

export function Notes({ id }) {
  const { act, kase } = useCase();
  const comments = kase.comments || [];
  const notes = [...kase.notes].reverse();
  const photos = [...kase.photos].reverse();
  return html`<${Frame} screen="notes" title="Notes and photos" caution="moving_parts"
    bottom=${html`<${Button} act="to-case" kind="main" href=${address('case', id)}>Back to the case<//>`}>
    <ul class="plain-list">${comments.map((row) => html`<${Comment} key=${row.entry} id=${id} row=${row} act=${act} isOpen=${kase.open_questions.includes(row.entry)} />`)}</ul>
    <${AddNote} id=${id} />
    <${AddPhoto} id=${id} />
    <ul class="plain-list">${photos.map((photo) => html`<${Photo} key=${photo.entry} photo=${photo} />`)}</ul>
    <ul class="plain-list">${notes.map((note) => html`<li class="note" key=${note.entry} data-note=${note.entry}><p>${note.text}</p>
      <p class="help">${formatWhen(note.at)}, <${PersonName} id=${note.by} /></p></li>`)}</ul>
    ${notes.length + photos.length + comments.length === 0 ? html`<p class="help">Nothing noted yet.</p>` : null}
  <//>`;
}
