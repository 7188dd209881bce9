import type { Finding } from '../base/index.ts';
import type { SuspectedError } from './tie-tests.ts';

/** The one finding about what does not fit: the first suspect, or all that the network cannot tell apart. */
export function suspectFinding(suspect: SuspectedError): Finding {
  const { words, ties, rivalTies, kind, statistic, degreesOfFreedom, probability } = suspect;
  const chance = probability < 1e-6 ? 'less than one in a million' : Number(probability.toPrecision(1)).toString();
  const test = `test value ${statistic.toFixed(1)} with ${degreesOfFreedom} degrees of freedom; probability by chance ${chance}`;
  const isCertain = words.length === 1;
  return {
    severity: 'warning',
    code: kind === 'observation' ? 'observation-stands-out' : 'tie-stands-out',
    subject: ties[0] ?? 'adjustment',
    message: isCertain
      ? `${words[0]} does not fit the rest (${test}).`
      : `One of these does not fit, and the network cannot tell which: ${words.join(', ')} (${test}).`,
    remedy: isCertain
      ? kind === 'observation'
        ? 'Measure it again or leave it out.'
        : 'Look at it: a list of another day, a slipped overlap, a part that moved; measure it again or leave it out.'
      : rivalTies.length === 0
        ? 'Measure them again, or see the target from one more frame; leaving out the wrong one spoils the result.'
        : 'Measure them again, or add one more tie between their frames; leaving out the wrong one spoils the result.',
  };
}
