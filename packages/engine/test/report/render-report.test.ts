import { inflateSync } from 'node:zlib';
import {
  drawParallel,
  encodeBase64,
  encodePng,
  formatLength,
  formatWithUncertainty,
  IDENTITY_POSE,
  type ReportInput,
  renderReport,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';

/** A square of 100 mm in the plane z = 5, in front of a larger one in z = 0, seen from above. */
const square = (half: number, z: number): Float32Array =>
  Float32Array.of(-half, -half, z, half, -half, z, half, half, z, -half, half, z);
const faces = Uint32Array.of(0, 1, 2, 0, 2, 3);
const above = { name: 'from above', direction: [0, 0, -1], up: [0, 1, 0] } as const;

function item(half: number, z: number, color: readonly [number, number, number]) {
  return {
    origin: [0, 0, 0] as const,
    positions: square(half, z),
    triangles: faces,
    jobFromItem: IDENTITY_POSE,
    colors: color,
    hatch: 0,
    relief: 0,
  };
}

describe('drawParallel', () => {
  it('hides what lies behind, whatever the order of drawing', () => {
    const red = item(50, 5, [200, 0, 0]);
    const blue = item(100, 0, [0, 0, 200]);
    const extent = { minRight: -100, maxRight: 100, minUp: -100, maxUp: 100 };
    for (const items of [
      [red, blue],
      [blue, red],
    ]) {
      const { picture } = drawParallel(items, above, 40, [0, 0, 0], extent);
      const at = (x: number, y: number) => Array.from(picture.rgb.subarray(3 * (40 * y + x), 3 * (40 * y + x) + 3));
      expect(at(20, 20)).toEqual([200, 0, 0]);
      expect(at(4, 4)).toEqual([0, 0, 200]);
      let redCount = 0;
      for (let i = 0; i < 1600; i++) if (picture.rgb[3 * i] === 200) redCount++;
      // The red square covers a quarter of the picture.
      expect(redCount).toBe(400);
    }
  });

  it('draws the same far from the origin', () => {
    const near = drawParallel([item(50, 5, [200, 0, 0])], above, 60, [0, 0, 0]);
    const far = { ...item(50, 5, [200, 0, 0]), origin: [5e5, 5.4e6, 350] as const };
    const moved = drawParallel([far], above, 60, [5e5, 5.4e6, 350]);
    expect(moved.picture.rgb).toEqual(near.picture.rgb);
  });
});

describe('encodePng', () => {
  it('writes the chunks of ISO/IEC 15948 and pixels that zlib gives back', () => {
    const rgb = Uint8Array.from({ length: 3 * 7 * 5 }, (_, i) => (i * 37) % 256);
    const png = encodePng({ width: 7, height: 5, rgb });
    expect(Array.from(png.subarray(0, 8))).toEqual([137, 80, 78, 71, 13, 10, 26, 10]);
    const view = new DataView(png.buffer);
    expect([view.getUint32(16), view.getUint32(20)]).toEqual([7, 5]);
    const length = view.getUint32(33);
    const raw = inflateSync(png.subarray(41, 41 + length));
    for (let y = 0; y < 5; y++) {
      for (let i = 0; i < 21; i++) {
        const above = y === 0 ? 0 : (rgb[21 * (y - 1) + i] as number);
        expect(((raw[22 * y + 1 + i] as number) + above) % 256).toBe(rgb[21 * y + i]);
      }
    }
    // CRC-32 of the empty IEND chunk, RFC 2083 / ISO/IEC 15948: AE 42 60 82.
    expect(Array.from(png.subarray(-4))).toEqual([0xae, 0x42, 0x60, 0x82]);
  });
});

describe('encodeBase64', () => {
  it('agrees with RFC 4648 section 10 and with Buffer', () => {
    const ascii = (text: string) => Uint8Array.from(text, (c) => c.charCodeAt(0));
    expect(['', 'f', 'fo', 'foo', 'foob', 'fooba', 'foobar'].map((text) => encodeBase64(ascii(text)))).toEqual([
      '',
      'Zg==',
      'Zm8=',
      'Zm9v',
      'Zm9vYg==',
      'Zm9vYmE=',
      'Zm9vYmFy',
    ]);
    const bytes = Uint8Array.from({ length: 50001 }, (_, i) => (i * i) % 251);
    expect(encodeBase64(bytes)).toBe(Buffer.from(bytes).toString('base64'));
  });
});

describe('numbers', () => {
  it('gives the digits that the uncertainty allows (JCGM 100, 7.2.6)', () => {
    expect(formatWithUncertainty(12.34567, 0.0081, 'mm')).toBe('12.3457 mm ± 0.0081 mm (k = 2)');
    expect(formatWithUncertainty(1, Number.NaN, 'mm')).toContain('not known');
    expect(formatLength(0.0512345)).toBe('0.0512');
    expect(formatLength(1234.5)).toBe('1235');
  });
});

const input: ReportInput = {
  jobName: '<img src=x onerror=alert(1)>',
  version: '0.0.0',
  seed: 7,
  date: '2026-01-01',
  scans: [
    {
      id: 's1',
      name: '"><script>alert(1)</script>.ply',
      session: 'outside',
      frame: 'outside',
      instrument: 'tracked laser',
      points: 4,
      triangles: 2,
      unit: 'mm',
      bounds: { min: [-50, -50, 5], max: [50, 50, 5] },
      sha256: 'ab'.repeat(32),
    },
  ],
  lists: [],
  alignment: {
    frames: [
      {
        frame: 'outside',
        jobFromFrame: IDENTITY_POSE,
        covariance: null,
        covarianceReference: null,
        status: 'fixed',
        message: '',
        remedy: '',
        rivals: [],
      },
      {
        frame: 'inside',
        jobFromFrame: null,
        covariance: null,
        covarianceReference: null,
        status: 'refused',
        message: 'Too little overlap.',
        remedy: 'Scan the door again.',
        rivals: [],
      },
    ],
    ties: [],
    closures: [],
    varianceFactor: null,
    redundancy: 0,
    iterations: 1,
    converged: true,
    jointCovariance: null,
    globalTest: null,
    varianceComponents: [],
    instrumentErrors: [],
    movedParts: [],
  },
  reaches: [],
  surfaces: [{ id: 's1', origin: [0, 0, 0], positions: square(50, 5), triangles: faces, jobFromItem: IDENTITY_POSE }],
  fused: null,
  findings: [],
  truth: null,
  commands: ['npx lapjoint align job'],
};

describe('renderReport', () => {
  const html = renderReport(input);

  it('is one page without script or outside reference, and names from outside stay text', () => {
    expect(html).not.toMatch(/<script|<img|javascript:|https?:|@import|url\(/i);
    expect(html).toContain('&lt;script&gt;');
  });

  it('says which frame was refused, why, and what helps', () => {
    expect(html).toContain('Frame inside was not placed.');
    expect(html).toContain('Too little overlap.');
    expect(html).toContain('Scan the door again.');
  });

  it('gives the same bytes for the same input', () => {
    expect(renderReport(input)).toBe(html);
  });

  it('shows the cautions of the trade', () => {
    expect(html).toContain('no calibration certificate');
    expect(html).toContain('IEC 60825-1');
  });
});
