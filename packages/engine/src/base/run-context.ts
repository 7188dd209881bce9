import { CancelledError } from './errors.ts';
import { FindingList } from './findings.ts';
import { makeRandom, type Random } from './random.ts';

/** Says whether to stop. An AbortSignal is one. */
export interface CancelSignal {
  readonly aborted: boolean;
}

/** What a long computation needs from its surroundings: cancel, progress, randomness, a place for findings. */
export interface RunContext {
  readonly signal: CancelSignal;
  readonly seed: number;
  readonly findings: FindingList;
  /** Reports the share done, 0 to 1, and in words what is being done. Never goes back. */
  progress(fraction: number, note?: string): void;
  /** The random stream of a stage or item; equal names give equal streams. */
  random(name: string): Random;
  /** A context whose 0 to 1 is the given part of this one's. */
  part(from: number, to: number): RunContext;
  /** Reports progress, lets other work run, and throws CancelledError when asked to stop. Call every 50 ms or so. */
  checkpoint(fraction?: number, note?: string): Promise<void>;
}

export interface RunContextOptions {
  readonly seed?: number;
  readonly signal?: CancelSignal;
  readonly findings?: FindingList;
  readonly onProgress?: (fraction: number, note: string | undefined) => void;
}

/** Makes a root context. Without options: seed 1, cannot be cancelled, progress unseen. */
export function makeRunContext(options: RunContextOptions = {}): RunContext {
  const signal = options.signal ?? { aborted: false };
  const seed = options.seed ?? 1;
  const findings = options.findings ?? new FindingList();
  let highest = 0;
  const report = (fraction: number, note?: string): void => {
    if (fraction < highest && note === undefined) return;
    highest = Math.max(highest, Math.min(1, fraction));
    options.onProgress?.(highest, note);
  };
  const make = (from: number, to: number): RunContext => {
    const progress = (fraction: number, note?: string): void => {
      report(from + (to - from) * Math.max(0, Math.min(1, fraction)), note);
    };
    return {
      signal,
      seed,
      findings,
      progress,
      random: (name) => makeRandom(seed, name),
      part: (a, b) => make(from + (to - from) * a, from + (to - from) * b),
      checkpoint: async (fraction, note) => {
        if (fraction !== undefined) progress(fraction, note);
        await Promise.resolve();
        if (signal.aborted) throw new CancelledError();
      },
    };
  };
  return make(0, 1);
}
