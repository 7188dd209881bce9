import { describe, expect, it } from 'vitest';
import { buildPointIndex, buildTriangleIndex } from '../src/index.ts';
import { kernelInstance } from '../src/kernels.ts';
import { MemoryBlocks } from '../src/wasm/memory-blocks.ts';
import { torus } from './meshes.ts';
import { makeRandom } from './point-sets.ts';

describe('memory blocks', () => {
  it('never overlap, and all come back', () => {
    const random = makeRandom(1);
    let end = 0;
    const blocks = new MemoryBlocks(0, 0, (needed) => {
      end = needed;
    });
    const taken: { start: number; size: number }[] = [];
    for (let round = 0; round < 800; round++) {
      if (taken.length > 0 && random() < 0.5) {
        blocks.give(taken.splice(Math.floor(random() * taken.length), 1)[0]);
        continue;
      }
      const block = blocks.take(Math.floor(random() * 5000));
      expect(block.start % 64).toBe(0);
      expect(block.start + block.size).toBeLessThanOrEqual(end);
      for (const other of taken) {
        expect(block.start + block.size <= other.start || other.start + other.size <= block.start).toBe(true);
      }
      taken.push(block);
    }
    for (const block of taken) blocks.give(block);
    expect(blocks.freeBytes()).toBe(end);
    expect(blocks.take(end)).toEqual({ start: 0, size: end });
  });
});

describe('an index', () => {
  it('gives its memory back when disposed of, and refuses work afterwards', () => {
    const positions = new Float32Array(30000);
    const mesh = torus(30);
    const outIndex = new Int32Array(10000);
    const out = new Float32Array(30000);
    const round = () => {
      const points = buildPointIndex(positions);
      const triangles = buildTriangleIndex(mesh.positions, mesh.triangles);
      points.nearest(positions.subarray(0, 300), 1, outIndex, out);
      triangles.closestPoints(positions.subarray(0, 300), 1, outIndex, out, out.slice());
      points.dispose();
      triangles.dispose();
      triangles.dispose();
      return points;
    };
    round();
    const before = kernelInstance().freeBytes();
    const bytes = kernelInstance().memory.buffer.byteLength;
    const points = round();
    expect(kernelInstance().freeBytes()).toBe(before);
    expect(kernelInstance().memory.buffer.byteLength).toBe(bytes);
    expect(() => points.nearest(positions, 1, outIndex, out)).toThrow('disposed');
  });

  it('keeps its answers when other indices grow the memory', () => {
    const random = makeRandom(6);
    const positions = Float32Array.from({ length: 3000 }, random);
    const index = buildPointIndex(positions);
    const before = new Int32Array(5000);
    const after = new Int32Array(5000);
    index.kNearest(positions, 5, before, new Float32Array(5000));
    const others = Array.from({ length: 5 }, () => buildPointIndex(new Float32Array(600_000)));
    index.kNearest(positions, 5, after, new Float32Array(5000));
    expect(after).toEqual(before);
    for (const other of others) other.dispose();
    index.dispose();
  });

  it('is refused, not half built, when the memory cannot hold it', () => {
    const free = kernelInstance().freeBytes();
    expect(() => kernelInstance().take(2 ** 33)).toThrow(RangeError);
    expect(kernelInstance().freeBytes()).toBe(free);
  });
});
