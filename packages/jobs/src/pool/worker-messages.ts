import type { Finding } from '@lapjoint/engine';
import type { TransferableError } from './transferable-error.ts';

/** What a worker is told once, when it starts. */
export interface WorkerStart {
  /** One number per worker: not zero asks the worker of that slot to stop its task. */
  readonly stopFlags: SharedArrayBuffer;
  readonly slot: number;
  /** Module that exports `PIPELINE_TASKS`, as a URL or package name. */
  readonly taskModule: string;
}

/** Main thread to worker: do this. */
export interface TaskOrder {
  readonly order: number;
  readonly task: string;
  readonly input: unknown;
  readonly seed: number;
}

/** Worker to main thread. */
export type TaskMessage =
  | { readonly kind: 'progress'; readonly order: number; readonly fraction: number; readonly note: string | undefined }
  | { readonly kind: 'done'; readonly order: number; readonly output: unknown; readonly findings: readonly Finding[] }
  | {
      readonly kind: 'failed';
      readonly order: number;
      readonly error: TransferableError;
      readonly findings: readonly Finding[];
    };
