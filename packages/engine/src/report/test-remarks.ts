import type { AlignmentResult, TieResult } from '../model/index.ts';
import { formatCount, formatLength } from './format-number.ts';

/** How a test came out. The sign goes with a word, never alone. */
export type TestOutcome = 'passed' | 'not passed' | 'cannot tell' | 'not checked';

/** One test in plain words. */
export interface TestRemark {
  readonly name: string;
  readonly outcome: TestOutcome;
  readonly text: string;
  /** What helps; empty when nothing has to be done. */
  readonly remedy: string;
}

/** Probability in words that do not claim more digits than it has. */
export function formatProbability(probability: number): string {
  if (!Number.isFinite(probability)) return 'not known';
  if (probability < 1e-3) return 'less than 0.1 %';
  if (probability > 0.999) return 'more than 99.9 %';
  const percent = 100 * probability;
  return `${percent >= 10 ? percent.toFixed(0) : percent.toFixed(1)} %`;
}

/** Ties by the number that the drawing and the table give them. */
function tieList(ties: readonly TieResult[], chosen: readonly TieResult[]): string {
  const words = chosen.map((tie) => `${ties.indexOf(tie) + 1} (${tie.frameA} – ${tie.frameB})`);
  const shown = words.length > 6 ? [...words.slice(0, 6), `${words.length - 6} more`] : words;
  return shown.length < 2 ? (shown[0] ?? '') : `${shown.slice(0, -1).join(', ')} and ${shown.at(-1)}`;
}

/** All tests of the network, the whole first. */
export function testRemarks(alignment: AlignmentResult, ties: readonly TieResult[]): TestRemark[] {
  const used = ties.filter((tie) => tie.status === 'used');
  return [
    wholeRemark(alignment),
    ...standOutRemark(ties, used),
    ...doubtRemark(ties, used),
    ...uncheckedRemark(ties, used),
  ];
}

function wholeRemark(alignment: AlignmentResult): TestRemark {
  const test = alignment.globalTest;
  const name = 'All ties together';
  if (test === null || test.degreesOfFreedom <= 0)
    return {
      name,
      outcome: 'not checked',
      text: 'Every tie is needed to place the frames: no number is measured twice, so nothing checks anything. An error in a tie would not show here.',
      remedy:
        'Add a second tie between frames, best far from the first: an overlap, targets, or a scan that closes a loop.',
    };
  const sums = `Weighted sum of squares ${formatLength(test.statistic)} against ${formatCount(test.degreesOfFreedom)} expected from ${formatCount(test.degreesOfFreedom)} checks`;
  const share = `a sum this large comes up in ${formatProbability(test.probability)} of good jobs`;
  if (test.probability >= test.level)
    return {
      name,
      outcome: 'passed',
      text: `What is left over is as large as the stated uncertainties let expect. ${sums}; ${share} (the test asks for more than ${formatProbability(test.level)}).`,
      remedy: '',
    };
  return {
    name,
    outcome: 'not passed',
    text: `More is left over than the stated uncertainties allow. ${sums}; ${share}, and the test asks for more than ${formatProbability(test.level)}.`,
    remedy: 'Look at the ties that stand out, at the loop closures, and whether a part has moved between sessions.',
  };
}

function standOutRemark(ties: readonly TieResult[], used: readonly TieResult[]): TestRemark[] {
  const tested = used.filter((tie) => tie.test !== null && tie.test.verdict !== 'not-checked');
  if (tested.length === 0) return [];
  const bad = used.filter((tie) => tie.test?.verdict === 'stands-out');
  const name = 'Each tie against the others';
  if (bad.length === 0) {
    if (tested.some((tie) => tie.test?.verdict === 'cannot-tell')) return [];
    return [
      {
        name,
        outcome: 'passed',
        text: `${tested.length === 1 ? 'The one tie that can be checked agrees' : tested.length === 2 ? 'Both ties that can be checked agree' : `All ${tested.length} ties that can be checked agree`} with what the others say.`,
        remedy: '',
      },
    ];
  }
  const least = Math.min(...bad.map((tie) => tie.test?.probability ?? 1));
  return [
    {
      name,
      outcome: 'not passed',
      text: `Tie ${tieList(ties, bad)} does not fit the others: a difference this large comes up in ${formatProbability(least)} of good networks.`,
      remedy: 'Check it first: a wrong number, a slipped overlap, a list from another day, or a part that moved.',
    },
  ];
}

function doubtRemark(ties: readonly TieResult[], used: readonly TieResult[]): TestRemark[] {
  const bad = used.filter((tie) => tie.test?.verdict === 'cannot-tell');
  if (bad.length === 0) return [];
  return [
    {
      name: 'Which tie is wrong',
      outcome: 'cannot tell',
      text: `One of the ties ${tieList(ties, bad)} is wrong, and the network cannot tell which: leaving out either makes the rest fit.`,
      remedy: 'Add a tie that goes another way between the same frames; then the test can decide.',
    },
  ];
}

function uncheckedRemark(ties: readonly TieResult[], used: readonly TieResult[]): TestRemark[] {
  const open = used.filter((tie) => tie.test === null || tie.test.verdict === 'not-checked');
  if (open.length === 0) return [];
  const one = open.length === 1;
  return [
    {
      name: 'Ties that stand alone',
      outcome: 'not checked',
      text: `Nothing else holds what ${one ? 'tie' : 'ties'} ${tieList(ties, open)} ${one ? 'holds' : 'hold'}: an error in ${one ? 'it' : 'them'} would move a frame and leave no trace.`,
      remedy: `A second tie for ${one ? 'that frame' : 'those frames'} checks ${one ? 'it' : 'them'}.`,
    },
  ];
}
