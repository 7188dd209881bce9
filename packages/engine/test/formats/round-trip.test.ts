import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { makeRandom } from '../../src/base/index.ts';
import {
  bytesInMemory,
  readScanFile,
  type SurfaceOutput,
  toScanData,
  writeObj,
  writePly,
  writePoints,
  writeStl,
} from '../../src/formats/index.ts';
import { collector, quietContext } from './sample-files.ts';

type WholeSurface = { [Key in keyof SurfaceOutput]-?: NonNullable<SurfaceOutput[Key]> };

/** A strip of triangles over random points, with everything a vertex can have. */
function surface(seed: number, count: number, scale: number, shift: number): WholeSurface {
  const random = makeRandom(seed, 'round trip');
  const positions = Float32Array.from({ length: 3 * count }, () => scale * random.normal());
  const unit = (): number[] => {
    const v = [random.normal(), random.normal(), random.normal()];
    return v.map((value) => value / Math.hypot(...v));
  };
  return {
    origin: [shift, -2 * shift, shift / 3],
    positions,
    normals: Float32Array.from(Array.from({ length: count }, unit).flat()),
    colors: Uint8Array.from({ length: 3 * count }, () => random.integer(256)),
    triangles: Uint32Array.from({ length: 3 * (count - 2) }, (_, i) => Math.floor(i / 3) + (i % 3)),
    uncertainty: Float32Array.from({ length: count }, () => random.uniform()),
    provenance: [{ scan: 'outside\nscan.ply', share: Float32Array.from({ length: count }, () => random.uniform()) }],
    properties: { sharpness: Float32Array.from({ length: count }, () => random.normal()) },
  };
}

async function written(
  write: (sink: (chunk: Uint8Array) => Promise<void>) => Promise<{ byteCount: number }>,
): Promise<Uint8Array> {
  const out = collector();
  const summary = await write(out.sink);
  expect(summary.byteCount).toBe(out.bytes().length);
  return out.bytes();
}

/** Largest distance of a coordinate from the truth, which is origin + position in float64. */
function largestError(data: SurfaceOutput, back: SurfaceOutput): number {
  expect(back.positions.length).toBe(data.positions.length);
  let largest = 0;
  for (let i = 0; i < data.positions.length; i++) {
    const truth = data.origin[i % 3] + data.positions[i];
    largest = Math.max(largest, Math.abs(back.origin[i % 3] + back.positions[i] - truth));
  }
  return largest;
}

const shapes = fc.record({
  seed: fc.integer({ min: 1, max: 1000 }),
  count: fc.integer({ min: 3, max: 60 }),
  scale: fc.constantFrom(0.01, 1, 1000),
  shift: fc.constantFrom(0, 3, 1e5, 5.4e9),
});

describe('write, then read', () => {
  it('PLY keeps everything; coordinates to float32 of the extent, however far away', async () => {
    await fc.assert(
      fc.asyncProperty(shapes, async ({ seed, count, scale, shift }) => {
        const data = surface(seed, count, scale, shift);
        const bytes = await written((sink) => writePly(data, { comments: ['made by a test'] }, sink, quietContext()));
        const raw = await readScanFile(bytesInMemory('a.ply', bytes), { properties: 'all' }, quietContext());
        expect(raw.statedUnit).toBe('mm');
        const back = toScanData(raw, 'mm');
        const extent = Math.max(...data.positions.map(Math.abs));
        expect(largestError(data, back)).toBeLessThanOrEqual(extent * 2 ** -21 + Math.abs(2 * shift) * 2 ** -51);
        expect(back.normals).toEqual(data.normals);
        expect(back.colors).toEqual(data.colors);
        expect(back.triangles).toEqual(data.triangles);
        expect(raw.properties).toEqual({
          uncertainty_mm: data.uncertainty,
          share_0: data.provenance[0].share,
          sharpness: data.properties['sharpness'],
        });
      }),
      { numRuns: 40, seed: 3 },
    );
  });

  it('STL keeps the triangles in order, to float32', async () => {
    await fc.assert(
      fc.asyncProperty(shapes, async ({ seed, count, scale, shift }) => {
        const data = surface(seed, count, scale, shift);
        const out = collector();
        const summary = await writeStl(data, out.sink, quietContext());
        expect(out.bytes().length).toBe(84 + (50 * data.triangles.length) / 3);
        const raw = await readScanFile(bytesInMemory('a.stl', out.bytes()), { weld: 'none' }, quietContext());
        const corners = Float32Array.from(raw.positions);
        const truth = (i: number): number =>
          data.origin[i % 3] + data.positions[3 * data.triangles[Math.floor(i / 3)] + (i % 3)];
        const error = corners.reduce((largest, value, i) => Math.max(largest, Math.abs(value - truth(i))), 0);
        expect(error).toBeLessThanOrEqual(summary.rounding);
      }),
      { numRuns: 20, seed: 4 },
    );
  });

  it('OBJ keeps points to a nanometre, colours, normals and triangles', async () => {
    await fc.assert(
      fc.asyncProperty(shapes, async ({ seed, count, scale, shift }) => {
        const data = surface(seed, count, scale, Math.min(shift, 1e5));
        const bytes = await written((sink) => writeObj(data, sink, quietContext()));
        const raw = await readScanFile(bytesInMemory('a.obj', bytes), {}, quietContext());
        expect(raw.statedUnit).toBe('mm');
        expect(
          largestError(data, { origin: [0, 0, 0], positions: raw.positions as unknown as Float32Array }),
        ).toBeLessThan(5.1e-7);
        expect(raw.colors).toEqual(data.colors);
        expect(raw.triangles).toEqual(data.triangles);
        const normalError = data.normals.reduce(
          (m, value, i) => Math.max(m, Math.abs(value - (raw.normals?.[i] ?? 9))),
          0,
        );
        expect(normalError).toBeLessThan(1e-6);
      }),
      { numRuns: 20, seed: 5 },
    );
  });

  it.each(['csv', 'xyz'] as const)('%s keeps points, normals and colours', async (layout) => {
    const data = surface(9, 50, 300, 1000);
    const bytes = await written((sink) => writePoints(data, layout, sink, quietContext()));
    const raw = await readScanFile(bytesInMemory(`a.${layout}`, bytes), {}, quietContext());
    expect(raw.statedUnit).toBe('mm');
    expect(raw.format).toBe('points-text');
    expect(largestError(data, { origin: [0, 0, 0], positions: raw.positions as unknown as Float32Array })).toBeLessThan(
      5.1e-7,
    );
    expect(raw.colors).toEqual(data.colors);
    expect(raw.normals?.length).toBe(data.normals.length);
  });

  it('gives the same bytes for the same input, whatever the pieces, also beyond one piece', async () => {
    const data = surface(11, 30_000, 100, 10);
    for (const write of [
      (sink: (chunk: Uint8Array) => Promise<void>) => writePly(data, {}, sink, quietContext()),
      (sink: (chunk: Uint8Array) => Promise<void>) => writeStl(data, sink, quietContext()),
      (sink: (chunk: Uint8Array) => Promise<void>) => writeObj(data, sink, quietContext()),
    ]) {
      const first = await written(write);
      expect(Buffer.compare(first, await written(write))).toBe(0);
      const raw = await readScanFile(bytesInMemory('big', first), { weld: 'none' }, quietContext());
      expect(raw.triangles?.length).toBe(data.triangles.length);
      expect(raw.findings.filter(({ severity }) => severity !== 'note')).toEqual([]);
    }
  });

  it('writes no surface that does not hold together', async () => {
    const data = surface(1, 5, 1, 0);
    const sink = collector().sink;
    await expect(writePly({ ...data, triangles: Uint32Array.of(0, 1, 5) }, {}, sink, quietContext())).rejects.toThrow(
      RangeError,
    );
    await expect(
      writePly({ ...data, positions: data.positions.with(4, Number.NaN) }, {}, sink, quietContext()),
    ).rejects.toThrow('not finite');
    await expect(writePly({ ...data, normals: new Float32Array(3) }, {}, sink, quietContext())).rejects.toThrow(
      RangeError,
    );
    await expect(writeStl({ ...data, triangles: null }, sink, quietContext())).rejects.toThrow(RangeError);
  });
});
