// What a person is typing about one reading: pure steps from keys to the body that is saved. Tested in Node.
import { parseTyped } from '../format.js';
import { phaseOf } from '../plan.js';

/** @returns the form before anything is typed, with what was used last time for this kind of reading */
export function emptyForm(quantity, vehicle, settings) {
  const wanted = settings.units[quantity.id] || (quantity.units.includes(settings.pressure_unit) ? settings.pressure_unit : quantity.unit);
  const own = (id) => (id || '').split('.')[0]; // an instrument of the workshop's own has its version in its id
  const last = quantity.instruments.find((id) => own(id) === own(settings.instruments[quantity.id]));
  return {
    texts: Array(quantity.kind === 'list' ? vehicle.cylinders || 4 : 1).fill(''), active: 0, choice: '',
    unit: quantity.units.includes(wanted) ? wanted : quantity.unit, duration: '', condition: quantity.states[0] || '',
    instrument: last || quantity.instruments[0] || '',
  };
}

/** Which text the pad writes into: a value, or the duration (index = number of values). */
export function activeText(form) {
  return form.active < form.texts.length ? form.texts[form.active] : form.duration;
}

export function typeText(form, text) {
  if (form.active >= form.texts.length) return { ...form, duration: text };
  return { ...form, texts: form.texts.map((old, index) => (index === form.active ? text : old)) };
}

/** What is still to be entered, in words for the button; '' when the form is whole. */
export function whatIsMissing(form, quantity) {
  if (quantity.kind === 'choice') return form.choice ? '' : 'Choose one';
  const gap = form.texts.findIndex((text) => parseTyped(text) === null);
  if (gap >= 0) return quantity.kind === 'list' ? `Enter cylinder ${gap + 1}` : 'Enter the value';
  if (quantity.needs_duration && parseTyped(form.duration) === null) return 'Enter for how long';
  return '';
}

/** Index of the next empty place after the active one, or the active one when none is empty. */
export function nextPlace(form, quantity) {
  const places = [...form.texts, ...(quantity.needs_duration ? [form.duration] : [])];
  const ahead = places.findIndex((text, index) => index > form.active && text === '');
  const any = places.findIndex((text, index) => index !== form.active && text === '');
  return ahead >= 0 ? ahead : any >= 0 ? any : form.active;
}

/** The body of `reading_taken`. Call it on a whole form. */
export function readingBody(form, quantity, checkId, more = {}) {
  const body = { quantity: quantity.id, value: form.choice, check: checkId, ...more };
  const phase = phaseOf(checkId);
  if (phase !== 'before') body.phase = phase;
  if (form.instrument) body.instrument = form.instrument;
  if (quantity.kind === 'choice') return body;
  const values = form.texts.map(parseTyped);
  body.value = quantity.kind === 'list' ? values : values[0];
  body.unit = form.unit;
  if (quantity.needs_duration) body.duration_s = parseTyped(form.duration);
  if (form.condition) body.state = form.condition;
  return body;
}
