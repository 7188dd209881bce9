import { createRequire } from 'node:module';
import {
  type AlignInput,
  alignScans,
  cutPartialView,
  fuseAlignedScans,
  makeRunContext,
  makeSerialRunner,
  PIPELINE_TASKS,
  type ScanData,
  type TaskRunner,
} from '@lapjoint/engine';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { WorkerPool } from '../../src/index.ts';

const require = createRequire(import.meta.url);
const pools = [1, 2].map((workerCount) => new WorkerPool({ workerCount }));
afterAll(() => Promise.all(pools.map((pool) => pool.close())));

describe('the whole job on workers', () => {
  let input: AlignInput;
  beforeAll(async () => {
    const { positions, cells } = require('bunny') as { positions: number[][]; cells: number[][] };
    const mesh: ScanData = {
      origin: [0, 0, 0],
      positions: Float32Array.from(positions.flat(), (x) => 10 * x),
      normals: null,
      colors: null,
      triangles: Uint32Array.from(cells.flat()),
      viewpoint: null,
    };
    const scans: AlignInput['scans'][number][] = [];
    for (const [i, angle] of [0, 0.9, -0.9].entries()) {
      const name = `view-${i}`;
      const options = { instrument: { noise: { white: 0.05, correlated: [] } }, spacing: 0.8, name };
      const data = await cutPartialView(mesh, [Math.sin(angle), 0.3, Math.cos(angle)], options, makeRunContext());
      scans.push({ id: name, name, frame: name, data, noise: null });
    }
    input = { frames: scans.map(({ frame }) => frame), scans, targetLists: [], ties: [] };
  });

  it('gives the same bits without workers, with one and with two', async () => {
    const results = [];
    for (const runner of [makeSerialRunner(PIPELINE_TASKS), ...pools] as TaskRunner[]) {
      const alignment = await alignScans(input, {}, runner, makeRunContext());
      const fused = await fuseAlignedScans(
        input.scans.map(({ id, data, noise }, i) => ({ id, data, noise, framePose: alignment.frames[i] as never })),
        {},
        runner,
        makeRunContext(),
      );
      results.push({ alignment, positions: Array.from(fused.positions), triangles: Array.from(fused.triangles) });
    }
    expect(results[0]?.alignment.frames.every((frame) => frame.status !== 'refused')).toBe(true);
    expect(results[0]?.triangles.length).toBeGreaterThan(1000);
    for (const result of results.slice(1)) {
      expect(result.alignment).toEqual(results[0]?.alignment);
      expect(result.positions).toEqual(results[0]?.positions);
      expect(result.triangles).toEqual(results[0]?.triangles);
    }
  }, 300_000);
});
