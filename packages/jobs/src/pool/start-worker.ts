import { Worker } from 'node:worker_threads';
import type { WorkerStart } from './worker-messages.ts';

/**
 * Starts a thread that runs `worker-entry`.
 *
 * Node 20 cannot start a thread from a TypeScript file, with whatever options. From sources the thread therefore starts
 * with a line of plain JavaScript that registers tsx and imports the file; from dist the file is started as it is.
 */
export function startWorker(start: WorkerStart): Worker {
  const fromSource = import.meta.url.endsWith('.ts');
  const entry = new URL(fromSource ? './worker-entry.ts' : './worker-entry.js', import.meta.url);
  if (!fromSource) return new Worker(entry, { workerData: start });
  const boot =
    `import('tsx/esm/api').then(({ register }) => { register(); return import(${JSON.stringify(entry.href)}); })` +
    `.catch((error) => setImmediate(() => { throw error; }))`;
  return new Worker(boot, { eval: true, workerData: start, execArgv: ['--conditions=source', '--no-warnings'] });
}
