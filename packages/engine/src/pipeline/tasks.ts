import type { PipelineTask } from './task-runner.ts';

/** Every step that may run on a worker, by name. */
export const PIPELINE_TASKS: Readonly<Record<string, PipelineTask>> = {};
