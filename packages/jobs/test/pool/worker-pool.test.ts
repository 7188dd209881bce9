import { AppError, CancelledError, FindingList, FormatError, makeRunContext, makeSerialRunner } from '@lapjoint/engine';
import { afterAll, describe, expect, it } from 'vitest';
import { shareArray, WorkerPool } from '../../src/index.ts';
import { PIPELINE_TASKS } from '../fixtures/test-tasks.ts';

const taskModule = new URL('../fixtures/test-tasks.ts', import.meta.url).href;
const pools = [1, 2].map((workerCount) => new WorkerPool({ workerCount, taskModule }));
const [single, pair] = pools as [WorkerPool, WorkerPool];
afterAll(() => Promise.all(pools.map((pool) => pool.close())));

const roots = (workers: number): { values: Float32Array; from: number; to: number }[] => {
  const values = shareArray(Float32Array.from({ length: 40000 }, (_, i) => (i * 7919) % 10007));
  return Array.from({ length: workers }, (_, i) => ({ values, from: i * 8000, to: (i + 1) * 8000 }));
};

describe('WorkerPool', () => {
  it('gives outputs and findings in the order of the inputs, the same bits as one thread without workers', async () => {
    const inputs = Array.from({ length: 6 }, (_, index) => ({ index, count: 6 }));
    const answers = [];
    for (const runner of [makeSerialRunner(PIPELINE_TASKS), ...pools]) {
      const findings = new FindingList();
      const outputs = await runner.run('slowFirst', inputs, makeRunContext({ seed: 77, findings }));
      answers.push({ outputs, findings: findings.items });
    }
    expect(answers[0]?.outputs.map((output) => (output as { index: number }).index)).toEqual([0, 1, 2, 3, 4, 5]);
    expect(answers[0]?.findings.map((finding) => finding.subject)).toEqual(['0', '1', '2', '3', '4', '5']);
    for (const answer of answers.slice(1)) expect(answer).toEqual(answers[0]);
  });

  it('sums the same to the last bit with 1 and 2 workers and without', async () => {
    const sums = [];
    for (const runner of [makeSerialRunner(PIPELINE_TASKS), ...pools]) {
      const outputs = (await runner.run('sumOfRoots', roots(5), makeRunContext())) as { sum: number }[];
      sums.push(outputs.map((output) => output.sum));
    }
    const expected = Array.from({ length: 5 }, (_, part) => {
      let sum = 0;
      for (let i = part * 8000; i < (part + 1) * 8000; i++) sum += Math.sqrt((i * 7919) % 10007);
      return sum;
    });
    for (const sum of sums) expect(sum).toEqual(expected);
  });

  it('hands shared arrays to workers without a copy, and shares large arrays of outputs', async () => {
    const [input] = roots(1);
    expect(await pair.run('isShared', [input], makeRunContext())).toEqual([true]);
    expect(await pair.run('isShared', [{ values: new Float32Array(9) }], makeRunContext())).toEqual([false]);
    const big = new Float32Array(40000).fill(4);
    const [output] = (await pair.run('sumOfRoots', [{ values: big, from: 0, to: 40000 }], makeRunContext())) as [
      { sum: number; values: Float32Array },
    ];
    expect(output.values.buffer).toBeInstanceOf(SharedArrayBuffer);
    expect(output.values).toEqual(big);
    expect(output.sum).toBe(80000);
  });

  it('reports progress that never goes back and ends at 1', async () => {
    const seen: number[] = [];
    const inputs = Array.from({ length: 5 }, (_, index) => ({ index, count: 5 }));
    await pair.run('slowFirst', inputs, makeRunContext({ onProgress: (fraction) => seen.push(fraction) }));
    expect(seen.length).toBeGreaterThanOrEqual(5);
    for (let i = 1; i < seen.length; i++) expect(seen[i]).toBeGreaterThanOrEqual(seen[i - 1] as number);
    expect(seen.at(-1)).toBeCloseTo(1, 12);
  });

  it.each(['untilStopped', 'deaf'])('stops tasks that would never end: %s', async (task) => {
    const controller = new AbortController();
    const running = pair.run(task, [null, null, null], makeRunContext({ signal: controller.signal }));
    await new Promise((resolve) => setTimeout(resolve, 150));
    controller.abort();
    await expect(running).rejects.toBeInstanceOf(CancelledError);
    // The pool works on.
    expect(await pair.run('isShared', [{ values: new Float32Array(1) }], makeRunContext())).toEqual([false]);
  });

  it('throws the error of the lowest failing input, whichever fails first', async () => {
    const inputs = [0, 1, 2, 3, 4].map((index) => ({ index, failing: [1, 3, 4] }));
    for (const runner of [makeSerialRunner(PIPELINE_TASKS), ...pools]) {
      const running = runner.run('failAt', inputs, makeRunContext());
      await expect(running).rejects.toMatchObject({ code: 'test-code', message: 'input 1', hint: 'a hint' });
      await expect(running).rejects.toBeInstanceOf(AppError);
    }
  });

  it('carries errors over with class, code, hint and place', async () => {
    const format = pair.run('formatError', [null], makeRunContext());
    await expect(format).rejects.toBeInstanceOf(FormatError);
    await expect(format).rejects.toMatchObject({ code: 'cut-off', place: { byteOffset: 12, file: 'a.ply' } });
    await expect(pair.run('rangeError', [null], makeRunContext())).rejects.toBeInstanceOf(RangeError);
    await expect(pair.run('unheardOf', [null], makeRunContext())).rejects.toThrow('There is no task unheardOf');
  });

  it('says so when a thread is lost, and starts a new one', async () => {
    await expect(single.run('die', [null], makeRunContext())).rejects.toMatchObject({ code: 'worker-lost' });
    expect(await single.run('isShared', [{ values: new Float32Array(1) }], makeRunContext())).toEqual([false]);
  });
});
