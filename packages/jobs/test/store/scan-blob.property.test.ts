import { FormatError, type ScanData } from '@lapjoint/engine';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { decodeScanBlob, encodeScanBlob } from '../../src/index.ts';

const bytesOf = (scan: ScanData): Uint8Array => new Uint8Array(Buffer.concat(encodeScanBlob(scan)));
const finite = fc.double({ noNaN: true, noDefaultInfinity: true }).map((value) => value + 0);
const vec3 = fc.tuple(finite, finite, finite);
const scans: fc.Arbitrary<ScanData> = fc.integer({ min: 0, max: 40 }).chain((count) =>
  fc.record({
    origin: vec3,
    positions: fc.float32Array({ minLength: 3 * count, maxLength: 3 * count }),
    normals: fc.option(fc.float32Array({ minLength: 3 * count, maxLength: 3 * count })),
    colors: fc.option(fc.uint8Array({ minLength: 3 * count, maxLength: 3 * count })),
    triangles: fc.option(
      fc.array(fc.tuple(fc.nat(), fc.nat(), fc.nat()), { maxLength: 20 }).map((rows) => Uint32Array.from(rows.flat())),
    ),
    viewpoint: fc.option(
      fc.oneof(
        vec3.map((position) => ({ kind: 'position' as const, position })),
        vec3.map((direction) => ({ kind: 'direction' as const, direction })),
      ),
    ),
  }),
);

describe('scan blob', () => {
  it('reads back every bit of what was written, and equal scans give equal bytes', () => {
    fc.assert(
      fc.property(scans, (scan) => {
        const bytes = bytesOf(scan);
        const read = decodeScanBlob(bytes);
        for (const name of ['positions', 'normals', 'colors', 'triangles'] as const) {
          const [a, b] = [scan[name], read[name]];
          expect(b === null).toBe(a === null);
          if (a !== null && b !== null) {
            expect(Buffer.from(b.buffer, b.byteOffset, b.byteLength)).toEqual(
              Buffer.from(a.buffer, a.byteOffset, a.byteLength),
            );
            expect(b.buffer).toBeInstanceOf(SharedArrayBuffer);
          }
        }
        expect(read.origin).toEqual([...scan.origin]);
        expect(read.viewpoint).toEqual(scan.viewpoint);
        expect(bytesOf(read)).toEqual(bytes);
      }),
      { seed: 3, numRuns: 200 },
    );
  });

  it('refuses any cut-off or lengthened blob', () => {
    const scan: ScanData = {
      origin: [1, 2, 3],
      positions: Float32Array.from([0, 0, 0, 1, 0, 0, 0, 1, 0]),
      normals: null,
      colors: null,
      triangles: Uint32Array.from([0, 1, 2]),
      viewpoint: null,
    };
    const bytes = bytesOf(scan);
    for (let length = 0; length < bytes.length; length++) {
      expect(() => decodeScanBlob(bytes.slice(0, length))).toThrow(FormatError);
    }
    expect(() => decodeScanBlob(Uint8Array.from([...bytes, 0]))).toThrow(FormatError);
  });
});
