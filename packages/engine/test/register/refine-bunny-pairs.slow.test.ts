import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { sharedPath } from '../../../../tests/shared-data.ts';
import { makeRandom, makeRunContext } from '../../src/base/index.ts';
import {
  compose,
  IDENTITY_POSE,
  invert,
  type Pose,
  perturb,
  type Quaternion,
  type Vec3,
} from '../../src/math/index.ts';
import { type PreparedScan, prepareScan, refinePose } from '../../src/register/index.ts';
import { poseDistance, randomDirection } from './sampled-shapes.ts';

const folder = 'data/stanford-bunny-scans';

function readScan(name: string): Float32Array {
  const text = readFileSync(sharedPath(`${folder}/${name}`) ?? '', 'latin1');
  const [header, body] = text.split(/end_header\r?\n/) as [string, string];
  const count = Number(/element vertex (\d+)/.exec(header)?.[1]);
  return Float32Array.from(body.split(/\s+/, 3 * count).map((value) => 1000 * Number(value)));
}

/** Poses of bun.conf, mm: the rotation there is the transpose of the usual one, so the vector part is negated. */
function publishedPoses(): { name: string; pose: Pose }[] {
  const text = readFileSync(sharedPath(`${folder}/bun.conf`) ?? '', 'latin1');
  return text
    .split('\n')
    .filter((line) => line.startsWith('bmesh'))
    .map((line) => {
      const [, name, ...rest] = line.trim().split(/\s+/);
      const v = rest.map(Number);
      const rotation: Quaternion = [v[6], -v[3], -v[4], -v[5]];
      return { name, pose: { rotation, translation: [1000 * v[0], 1000 * v[1], 1000 * v[2]] } };
    });
}

describe.skipIf(sharedPath(`${folder}/bun.conf`) === null)('refinePose on all 45 pairs of the bunny scans', () => {
  it('never calls a wrong pose good, and finds every pair with a third of overlap [Stanford 3D Scanning Repository]', async () => {
    const context = makeRunContext();
    const random = makeRandom(5, 'pairs');
    const scans: { prepared: PreparedScan; points: Vec3[]; pose: Pose }[] = [];
    for (const { name, pose } of publishedPoses()) {
      const positions = readScan(name);
      const points: Vec3[] = [];
      for (let i = 0; i < positions.length; i += 60) points.push([positions[i], positions[i + 1], positions[i + 2]]);
      const data = {
        origin: [0, 0, 0],
        positions,
        normals: null,
        colors: null,
        triangles: null,
        viewpoint: null,
      } as const;
      scans.push({ prepared: await prepareScan(data, {}, context), points, pose });
    }
    let found = 0;
    for (const [i, source] of scans.entries()) {
      for (const target of scans.slice(0, i)) {
        const truth = compose(invert(target.pose), source.pose);
        const shift = randomDirection(random).map((value) => 2 * value);
        const turn = randomDirection(random).map((value) => (value * 5 * Math.PI) / 180);
        const { centroid, origin } = source.prepared;
        const middle: Vec3 = [origin[0] + centroid[0], origin[1] + centroid[1], origin[2] + centroid[2]];
        const start = compose(truth, perturb(IDENTITY_POSE, [...shift, ...turn], middle));
        const result = await refinePose(source.prepared, target.prepared, { start }, context);
        const off = poseDistance(result.targetFromSource, truth, source.points);
        // The published poses are good to 0.3 mm each; a small overlap at one end lets the other end swing.
        if (result.status === 'converged') {
          expect(off).toBeLessThan(1.5);
          found++;
        }
        if (Math.min(result.overlapOfSource, result.overlapOfTarget) > 0.33) expect(result.status).toBe('converged');
      }
    }
    expect(found).toBeGreaterThan(24);
  });
});
