import { makeRunContext, type RunContext, type RunContextOptions } from '@lapjoint/engine';

/** A checkpoint lets signals, timers and messages of workers in at least this often. */
const BREATHE_MS = 30;

/**
 * A run context for Node's main thread. The engine's own checkpoints only let other promises run; these let the event
 * loop turn, so that Ctrl+C, the progress line and the workers' messages are served during long computations.
 */
export function makeNodeRunContext(options: RunContextOptions = {}): RunContext {
  let last = performance.now();
  const wrap = (inner: RunContext): RunContext => ({
    signal: inner.signal,
    seed: inner.seed,
    findings: inner.findings,
    progress: inner.progress,
    random: inner.random,
    part: (from, to) => wrap(inner.part(from, to)),
    checkpoint: async (fraction, note) => {
      if (performance.now() - last > BREATHE_MS) {
        await new Promise((resolve) => setImmediate(resolve));
        last = performance.now();
      }
      await inner.checkpoint(fraction, note);
    },
  });
  return wrap(makeRunContext(options));
}
