import { adjustNetwork, makeRunContext } from '@lapjoint/engine';
import { type Blunder, makeBlunderNetwork } from './blunder-network.ts';

/** What the tests said of many jobs with one planted bad tie each. */
export interface BlunderScore {
  /** Jobs whose network can tell the bad tie from all others. */
  allowed: number;
  /** Of these: the bad tie alone was named. */
  named: number;
  /** Of these: another tie alone was named. */
  misnamed: number;
  /** Jobs whose network cannot tell it from some others. */
  alike: number;
  /** Of these: "cannot tell", and the bad tie and all that are like it were listed. */
  listed: number;
  /** Of both: nothing stood out. */
  missed: number;
}

/** Runs the jobs of some seeds. */
export async function scoreBlunders(kind: Exclude<Blunder, 'none'>, from: number, to: number): Promise<BlunderScore> {
  const score: BlunderScore = { allowed: 0, named: 0, misnamed: 0, alike: 0, listed: 0, missed: 0 };
  for (let seed = from; seed < to; seed++) {
    const network = makeBlunderNetwork(seed, kind);
    const result = await adjustNetwork(network.observations, { start: network.start }, makeRunContext());
    const suspect = result.suspect;
    if (suspect === null) score.missed++;
    const verdict = result.ties.find((t) => t.id === network.bad)!.test!.verdict;
    if (network.alike.length === 0) {
      score.allowed++;
      if (suspect === null) continue;
      const isFirst =
        suspect.ties.includes(network.bad!) && (network.sighting ?? suspect.words[0]) === suspect.words[0];
      if (isFirst && suspect.words.length === 1 && verdict === 'stands-out') score.named++;
      else if (!isFirst && suspect.words.length === 1) score.misnamed++;
    } else {
      score.alike++;
      if (suspect === null) continue;
      const listed = new Set([...suspect.ties, ...suspect.rivalTies]);
      if (verdict === 'cannot-tell' && [network.bad!, ...network.alike].every((t) => listed.has(t))) score.listed++;
    }
  }
  return score;
}

/** Share of good jobs that the global test, and that a tie test, calls bad. */
export async function countFalseAlarms(from: number, to: number): Promise<{ global: number; ties: number }> {
  let [global, ties] = [0, 0];
  for (let seed = from; seed < to; seed++) {
    const { observations, start } = makeBlunderNetwork(seed, 'none');
    const result = await adjustNetwork(observations, { start }, makeRunContext());
    if (result.globalTest!.probability < 0.05) global++;
    if (result.suspect !== null) ties++;
  }
  return { global: global / (to - from), ties: ties / (to - from) };
}
