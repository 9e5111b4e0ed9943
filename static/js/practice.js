// A practice car under way: which one, and what was done to it. Kept beside the drafts, never in the log.
import { useApp, useEffect, useState } from './parts/html.js';
import { keepDraft, readDraft } from './offline/drafts.js';

const KEY = 'practice';

/** @returns {{grade: string, car: number, path: object[], skipped: object[], named: string}|null} */
export const readRun = () => readDraft(KEY);

export function keepRun(run) {
  keepDraft(KEY, run);
}

export function startRun(grade, car) {
  keepRun({ grade, car, path: [], skipped: [], named: '' });
}

/**
 * What the engine says of the car as far as the learner has gone: {run, look, assessment, trouble}; null until it answers.
 */
export function usePracticeCar() {
  const { act } = useApp();
  const [run] = useState(readRun);
  const [car, setCar] = useState({ run, look: null, assessment: null, trouble: '' });
  useEffect(() => {
    if (!run) return;
    const ask = async () => {
      const look = await act.call('practice_look', run);
      if (look.error) throw new Error(look.error[0].text);
      const judged = await act.call('judge', look.ok.case);
      setCar({ run, look: look.ok, assessment: judged.ok, trouble: '' });
    };
    ask().catch((error) => setCar({ run, look: null, assessment: null, trouble: error.message }));
  }, []);
  return car;
}
