import type { RunContext } from '../base/index.ts';
import type { AlignmentResult } from '../model/index.ts';
import type { AlignInput } from './align-input.ts';
import type { TaskRunner } from './task-runner.ts';

/** Options of `alignScans`. */
export interface AlignOptions {
  /** Frames that are not tried without a tie of their own. */
  readonly maxRounds: number;
}

/** 25 rounds: overlaps of real scans settle within ten; more rounds cost little and are reported. */
export const ALIGN_DEFAULTS: AlignOptions = { maxRounds: 25 };

declare function alignLater(): Promise<AlignmentResult>;
/** Places all frames of a job in one. */
export async function alignScans(
  input: AlignInput,
  options: Partial<AlignOptions>,
  runner: TaskRunner,
  context: RunContext,
): Promise<AlignmentResult> {
  void input;
  void options;
  void runner;
  void context;
  return alignLater();
}
