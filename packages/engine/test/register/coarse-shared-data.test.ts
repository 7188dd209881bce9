import { readFileSync } from 'node:fs';
import {
  buildPointIndex,
  bytesInMemory,
  compose,
  findCoarsePoses,
  invert,
  type LengthUnit,
  makeRunContext,
  normalizeQuaternion,
  type Pose,
  type PreparedScan,
  prepareScan,
  quaternionOfVector,
  readScanFile,
  rotationAngle,
  type ScanData,
  toScanData,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { sharedPath } from '../../../../tests/shared-data.ts';

const context = makeRunContext();

async function read(path: string, unit: LengthUnit): Promise<ScanData> {
  const bytes = readFileSync(path);
  return toScanData(await readScanFile(bytesInMemory(path, bytes), {}, context), unit);
}

/** The pose of a scan in bun.conf, mm. The file stores the inverse of the rotation (SOURCE.md beside it). */
function publishedPose(folder: string, scan: string): Pose {
  const line = readFileSync(`${folder}/bun.conf`, 'utf8')
    .split('\n')
    .find((text) => text.startsWith(`bmesh ${scan}.ply`));
  const [tx, ty, tz, x, y, z, w] = (line ?? '').trim().split(/\s+/).slice(2).map(Number);
  return { rotation: normalizeQuaternion([-w, x, y, z]), translation: [tx * 1000, ty * 1000, tz * 1000] };
}

function centerOf(scan: PreparedScan): Vec3 {
  const { origin, centroid } = scan;
  return [origin[0] + centroid[0], origin[1] + centroid[1], origin[2] + centroid[2]];
}

/** Rotation (degrees) and way of the scan's centre, mm. */
function deviation(found: Pose, truth: Pose, center: Vec3): { angleDeg: number; way: number } {
  const p = transformPoint(found, center);
  const q = transformPoint(truth, center);
  return {
    angleDeg: (rotationAngle(compose(invert(truth), found).rotation) * 180) / Math.PI,
    way: Math.hypot(p[0] - q[0], p[1] - q[1], p[2] - q[2]),
  };
}

/** The scan in another frame: as if captured there. */
function inFrame(scan: ScanData, frameFromScan: Pose): ScanData {
  const positions = new Float32Array(scan.positions.length);
  const origin = transformPoint(frameFromScan, scan.origin);
  const turnOnly: Pose = { rotation: frameFromScan.rotation, translation: [0, 0, 0] };
  const turn = (values: Float32Array): Float32Array => {
    const out = new Float32Array(values.length);
    for (let i = 0; i < values.length; i += 3) {
      out.set(transformPoint(turnOnly, [values[i], values[i + 1], values[i + 2]]), i);
    }
    return out;
  };
  positions.set(turn(scan.positions));
  return {
    ...scan,
    origin,
    positions,
    normals: scan.normals === null ? null : turn(scan.normals),
    viewpoint:
      scan.viewpoint?.kind === 'direction'
        ? { kind: 'direction', direction: transformPoint(turnOnly, scan.viewpoint.direction) }
        : null,
  };
}

const START: Pose = { rotation: quaternionOfVector([2, -1, 0.7]), translation: [3000, -2000, 1500] };

const bunny = sharedPath('data/stanford-bunny-scans');
const pointClouds = sharedPath('data/pcl-test');
const meshes = sharedPath('data/cgal-data/points_3');

describe.skipIf(bunny === null)('findCoarsePoses on range scans with published poses (Stanford, bun.conf)', () => {
  const folder = bunny as string;
  for (const [source, target, overlap] of [
    ['bun045', 'bun000', 'nine tenths'],
    ['bun270', 'bun180', 'two fifths'],
    ['bun180', 'bun090', 'a third'],
    ['bun270', 'bun000', 'a third'],
  ] as const) {
    it(`${source} on ${target}, overlap about ${overlap}`, async () => {
      const moved = await prepareScan(inFrame(await read(`${folder}/${source}.ply`, 'm'), START), {}, context);
      const fixed = await prepareScan(await read(`${folder}/${target}.ply`, 'm'), {}, context);
      const result = await findCoarsePoses(moved, fixed, {}, context);
      expect(result.status).toBe('accepted');
      const truth = compose(
        compose(invert(publishedPose(folder, target)), publishedPose(folder, source)),
        invert(START),
      );
      const found = deviation(result.poses[0].targetFromSource, truth, centerOf(moved));
      expect(found.angleDeg).toBeLessThan(1);
      expect(found.way).toBeLessThan(1.5);
    });
  }

  it('scans that show opposite sides are refused', async () => {
    const front = await prepareScan(inFrame(await read(`${folder}/bun000.ply`, 'm'), START), {}, context);
    const back = await prepareScan(await read(`${folder}/bun180.ply`, 'm'), {}, context);
    expect((await findCoarsePoses(front, back, {}, context)).status).toBe('insufficient-overlap');
  });
});

describe.skipIf(bunny === null || pointClouds === null)('findCoarsePoses on 361 and 397 points', () => {
  it('bun4 on bun0: right, or refused (pose of bun045 in bun.conf)', async () => {
    const source = await prepareScan(inFrame(await read(`${pointClouds}/bun4.pcd`, 'm'), START), {}, context);
    const target = await prepareScan(await read(`${pointClouds}/bun0.pcd`, 'm'), {}, context);
    const result = await findCoarsePoses(source, target, {}, context);
    if (result.status === 'accepted') {
      const truth = compose(publishedPose(bunny as string, 'bun045'), invert(START));
      const found = deviation(result.poses[0].targetFromSource, truth, centerOf(source));
      expect(found.angleDeg).toBeLessThan(2);
      expect(found.way).toBeLessThan(2);
    } else {
      expect(result.remedy).not.toBe('');
    }
  });
});

describe.skipIf(meshes === null)(
  'findCoarsePoses on hippo1 and hippo2 (SOURCE.md: 54 % of hippo2 within 0.01 of hippo1)',
  () => {
    const folder = meshes as string;

    it('puts at least as much of hippo2 on hippo1 as the pose found by exhaustive search', async () => {
      const source = await prepareScan(inFrame(await read(`${folder}/hippo2.ply`, 'm'), START), {}, context);
      const target = await prepareScan(await read(`${folder}/hippo1.ply`, 'm'), {}, context);
      const result = await findCoarsePoses(source, target, {}, context);
      if (result.status !== 'accepted') return expect(result.remedy).not.toBe('');
      const pose = result.poses[0].targetFromSource;
      const count = source.positions.length / 3;
      const queries = new Float32Array(3 * count);
      for (let i = 0; i < count; i++) {
        const local = source.positions.subarray(3 * i, 3 * i + 3);
        const p = transformPoint(pose, [
          local[0] + source.origin[0],
          local[1] + source.origin[1],
          local[2] + source.origin[2],
        ]);
        for (let k = 0; k < 3; k++) queries[3 * i + k] = p[k] - target.origin[k];
      }
      const nearest = new Int32Array(count);
      const index = buildPointIndex(target.positions);
      index.nearest(queries, 10, nearest, new Float32Array(count));
      index.dispose();
      expect(nearest.filter((i) => i >= 0).length / count).toBeGreaterThan(0.54);
    });

    it.skipIf(bunny === null)('a hippo on a rabbit is refused', async () => {
      const hippo = await prepareScan(await read(`${folder}/hippo1.ply`, 'm'), {}, context);
      const rabbit = await prepareScan(await read(`${bunny}/bun000.ply`, 'cm'), {}, context);
      expect((await findCoarsePoses(hippo, rabbit, {}, context)).status).toBe('insufficient-overlap');
    });
  },
);
