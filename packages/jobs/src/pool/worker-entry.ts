import { parentPort, workerData } from 'node:worker_threads';
import { serveTasks } from './serve-tasks.ts';
import type { WorkerStart } from './worker-messages.ts';

if (parentPort !== null) await serveTasks(parentPort, workerData as WorkerStart);
