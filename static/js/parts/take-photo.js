// One press that takes a picture, makes it small and keeps it with the case before it says so.
import { html, useApp, useState } from './html.js';
import { shrinkPhoto } from '../capture/camera.js';

/** @param {{id: string, caption?: string, check?: string, label?: string, onTaken?: () => void}} props */
export function TakePhoto({ id, caption = '', check, label = 'Take a photo', onTaken }) {
  const { act } = useApp();
  const [problem, setProblem] = useState('');
  const [busy, setBusy] = useState(false);
  const [kept, setKept] = useState(0);
  const take = async (event) => {
    const input = event.currentTarget;
    const file = input.files[0];
    if (!file) return;
    setBusy(true);
    setProblem('');
    try {
      const photo = await shrinkPhoto(file);
      const body = { sha256: photo.sha256, type: photo.type, size: photo.size, caption: caption.trim(), ...(check ? { check } : {}) };
      const answer = await act.record([{ case: id, kind: 'photo_added', body }], photo);
      setProblem(answer.problems.map((p) => p.text).join(' '));
      if (answer.saved) {
        setKept(kept + 1);
        if (onTaken) onTaken();
      }
    } catch (error) {
      setProblem(error.message);
    }
    input.value = '';
    setBusy(false);
  };
  return html`<label class="press press-plain press-file" data-act="photo" data-kept=${kept}>${busy ? 'Making it small …' : label}
      <input type="file" name="photo" accept="image/*" capture="environment" onChange=${take} disabled=${busy} /></label>
    ${kept && !busy ? html`<p class="saved" role="status">Photo kept with the case.</p>` : null}
    ${problem ? html`<p class="error" role="alert">${problem}</p>` : null}`;
}
