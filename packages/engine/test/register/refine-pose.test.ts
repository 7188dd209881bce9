import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { sharedPath } from '../../../../tests/shared-data.ts';
import { makeRandom, makeRunContext } from '../../src/base/index.ts';
import { buildPointIndex } from '../../src/geometry/index.ts';
import {
  compose,
  IDENTITY_POSE,
  invert,
  type Pose,
  perturb,
  quaternionOfMatrix,
  quaternionOfVector,
  rotate,
  rotationAngle,
  transformPoint,
  type Vec3,
} from '../../src/math/index.ts';
import type { ScanData } from '../../src/model/index.ts';
import { prepareScan, type RefinedPose, type RefinePoseOptions, refinePose } from '../../src/register/index.ts';
import {
  movedShape,
  poseDistance,
  randomDirection,
  type SampledShape,
  sampleBlob,
  scanOf,
  shuffledOrder,
} from './sampled-shapes.ts';

/** Pose of the second scan's frame in these tests: turned and far enough off that nothing fits by chance. */
const frameFromWorld: Pose = { rotation: quaternionOfVector([0.9, -0.4, 1.3]), translation: [350, -120, 80] };

async function refine(
  source: ScanData,
  target: ScanData,
  start: Pose,
  options: Partial<RefinePoseOptions> = {},
): Promise<RefinedPose> {
  const context = makeRunContext();
  return refinePose(
    await prepareScan(source, {}, context),
    await prepareScan(target, {}, context),
    { ...options, start },
    context,
  );
}

/** A true pose moved by an angle and a shift, as a rough alignment leaves it. */
function roughly(truth: Pose, angleDeg: number, shift: number, name: string): Pose {
  const random = makeRandom(9, name);
  const axis = randomDirection(random);
  const direction = randomDirection(random);
  const angle = (angleDeg * Math.PI) / 180;
  return perturb(
    truth,
    [...direction.map((value) => value * shift), ...axis.map((value) => value * angle)],
    truth.translation,
  );
}

describe('refinePose on a body of known shape', () => {
  const views: [Vec3, Vec3] = [
    [0.2, 0.1, 0.97],
    [0.75, 0.2, 0.63],
  ];
  const source = movedShape(sampleBlob('source', 9000, views[0], 0.08), frameFromWorld);
  const target = sampleBlob('target', 12000, views[1], 0.05);
  const truth = invert(frameFromWorld);

  it('comes within the noise floor of the truth from 5 deg and 2 mm off, with the overlap of the truth', async () => {
    for (let trial = 0; trial < 3; trial++) {
      const found = await refine(scanOf(source.points), scanOf(target.points), roughly(truth, 5, 2, `trial ${trial}`));
      expect(found.status).toBe('converged');
      // Floor: sigma^2 / H of the 7000 points that both see, with 0.094 mm for the two noises, is 0.014 mm.
      expect(poseDistance(found.targetFromSource, truth, source.points)).toBeLessThan(0.028);
      expect(found.rms).toBeGreaterThan(0.06);
      expect(found.rms).toBeLessThan(0.13);
      const seenByBoth = source.normals.filter((n) => {
        const world = rotate(truth.rotation, n);
        return world[0] * views[1][0] + world[1] * views[1][1] + world[2] * views[1][2] > 0.3;
      });
      expect(Math.abs(found.overlapOfSource - seenByBoth.length / source.points.length)).toBeLessThan(0.06);
    }
  });

  it('gives the inverse when the roles are swapped, and the same bits again', async () => {
    const start = roughly(truth, 4, 2, 'swap');
    const forward = await refine(scanOf(source.points), scanOf(target.points), start);
    const again = await refine(scanOf(source.points), scanOf(target.points), start);
    expect(again).toEqual(forward);
    const backward = await refine(scanOf(target.points), scanOf(source.points), invert(start));
    expect(poseDistance(invert(backward.targetFromSource), forward.targetFromSource, source.points)).toBeLessThan(1e-9);
    expect(backward.overlapOfSource).toBe(forward.overlapOfTarget);
    expect(backward.rms).toBe(forward.rms);
    expect(backward.information.squares).toBe(forward.information.squares);
  });

  it('gives the same bits for points in another order', async () => {
    const start = roughly(truth, 4, 2, 'order');
    const plain = await refine(scanOf(source.points), scanOf(target.points), start);
    const mix = (shape: SampledShape, name: string): ScanData =>
      scanOf(shuffledOrder(shape.points.length, name).map((i) => shape.points[i]));
    expect(await refine(mix(source, 'a'), mix(target, 'b'), start)).toEqual(plain);
  });

  it('gives the same in another unit and ten million mm from the origin (far from origin: PCL issue 2403)', async () => {
    const start = roughly(truth, 4, 2, 'far');
    const plain = await refine(scanOf(source.points), scanOf(target.points), start);
    const scaled = (shape: SampledShape): ScanData =>
      scanOf(shape.points.map((p): Vec3 => [p[0] / 1024, p[1] / 1024, p[2] / 1024]));
    const scalePose = (pose: Pose, f: number): Pose => ({
      rotation: pose.rotation,
      translation: [pose.translation[0] * f, pose.translation[1] * f, pose.translation[2] * f],
    });
    const small = await refine(scaled(source), scaled(target), scalePose(start, 1 / 1024));
    expect(poseDistance(scalePose(small.targetFromSource, 1024), plain.targetFromSource, source.points)).toBeLessThan(
      200 * 1e-9,
    );
    // A thousandth is no power of two: float32 coordinates are rounded by 6e-8, and the pose moves by their mean.
    const inMetres = (shape: SampledShape): ScanData =>
      scanOf(shape.points.map((p): Vec3 => [p[0] / 1000, p[1] / 1000, p[2] / 1000]));
    const metres = await refine(inMetres(source), inMetres(target), scalePose(start, 1 / 1000));
    expect(poseDistance(scalePose(metres.targetFromSource, 1000), plain.targetFromSource, source.points)).toBeLessThan(
      200 * 3e-8,
    );
    const sourceOrigin: Vec3 = [1e7, -2e6, 1e7];
    const targetOrigin: Vec3 = [-1e7, 1e7, 3e6];
    const shift = (by: Vec3): Pose => ({ rotation: IDENTITY_POSE.rotation, translation: by });
    const far = await refine(
      scanOf(source.points, { origin: sourceOrigin }),
      scanOf(target.points, { origin: targetOrigin }),
      compose(shift(targetOrigin), compose(start, invert(shift(sourceOrigin)))),
    );
    const back = compose(invert(shift(targetOrigin)), compose(far.targetFromSource, shift(sourceOrigin)));
    // 1e-9 of the coordinates' size.
    expect(poseDistance(back, plain.targetFromSource, source.points)).toBeLessThan(1e7 * 1e-9);
    expect(far.status).toBe('converged');
    expect(far.information.reference[0] - targetOrigin[0]).toBeCloseTo(plain.information.reference[0], 6);
  });

  it('ends where the gradient vanishes against its own standard deviation', async () => {
    const found = await refine(scanOf(source.points), scanOf(target.points), roughly(truth, 1, 1, 'gradient'));
    const { information, gradient, squares, weightSum } = found.information;
    const variance = squares / weightSum;
    for (let i = 0; i < 6; i++)
      expect(Math.abs(gradient[i])).toBeLessThan(0.1 * Math.sqrt(variance * information[7 * i]));
  });
});

describe('refinePose where the overlap is poor', () => {
  it('leaves alone and names what a cylinder does not hold (near-perfect cylinder: perfectlyconstrained issue 6)', async () => {
    const random = makeRandom(21, 'cylinder');
    const cylinder = (count: number): Vec3[] =>
      Array.from({ length: count }, () => {
        const a = 2 * Math.PI * random.uniform();
        const r = 50 + 0.03 * random.normal();
        return [r * Math.cos(a), r * Math.sin(a), 200 * random.uniform() - 100];
      });
    const start = perturb(IDENTITY_POSE, [0.8, -0.5, 0, 0.01, -0.02, 0], [0, 0, 0]);
    const found = await refine(scanOf(cylinder(8000)), scanOf(cylinder(9000)), start);
    expect(found.status).toBe('degenerate');
    expect(found.freeDirections.length).toBe(2);
    expect(found.freeDirections[0]).toMatch(/^shift along (Z|\(-?0\.0\d\d, -?0\.0\d\d, (0\.99\d|1\.000)\))$/);
    expect(found.freeDirections[1]).toMatch(/^rotation about/);
    const t = found.targetFromSource.translation;
    // Across the axis it fits; along it nothing moved, within what tilting by 0.02 rad mixes in.
    expect(Math.hypot(t[0], t[1])).toBeLessThan(0.02);
    expect(Math.abs(t[2])).toBeLessThan(0.05);
  });

  it('does not call a cylinder with a tiny key well held when it is turned by 60 deg', async () => {
    const random = makeRandom(22, 'key');
    const keyed = (count: number, turn: number): Vec3[] =>
      Array.from({ length: count }, () => {
        const a = 2 * Math.PI * random.uniform();
        const z = 100 * random.uniform() - 50;
        const isKey = Math.abs(a - 3) < 0.06 && Math.abs(z) < 8;
        const r = (isKey ? 53 : 50) + 0.03 * random.normal();
        return [r * Math.cos(a + turn), r * Math.sin(a + turn), z];
      });
    const found = await refine(scanOf(keyed(8000, 0)), scanOf(keyed(8000, Math.PI / 3)), IDENTITY_POSE);
    expect(found.status).not.toBe('converged');
    expect([...found.freeDirections, ...found.weakDirections].join()).toMatch(/rotation about/);
  });

  it('says that the rotation of a keyed cylinder is held weakly where the key does hold it', async () => {
    const random = makeRandom(25, 'keyed');
    const keyed = (): Vec3[] =>
      Array.from({ length: 12000 }, () => {
        const a = 2 * Math.PI * random.uniform();
        const z = 100 * random.uniform() - 50;
        // A smooth key of 3 mm at 3 rad, and ends that are no cylinder, so that nothing slides.
        const key = 3 * Math.exp(-(((a - 3) / 0.15) ** 2) - (z / 8) ** 2);
        const r = 50 - 12 * (z / 50) ** 4 + key + 0.02 * random.normal();
        return [r * Math.cos(a), r * Math.sin(a), z];
      });
    const found = await refine(
      scanOf(keyed()),
      scanOf(keyed()),
      perturb(IDENTITY_POSE, [0.3, 0.2, 0, 0.005, 0, 0.03], [0, 0, 0]),
    );
    const named = [...found.freeDirections, ...found.weakDirections].join();
    expect(named).toMatch(/^rotation about/);
    // Held or not, it is not called good and wrong: 0.01 rad is 0.5 mm at the surface.
    if (found.status === 'converged') expect(rotationAngle(found.targetFromSource.rotation)).toBeLessThan(0.01);
  });

  it('refuses a plane on a plane in the plane, and holds the other three', async () => {
    const random = makeRandom(23, 'plane');
    const plane = (): Vec3[] =>
      Array.from({ length: 6000 }, () => [300 * random.uniform(), 200 * random.uniform(), 0.05 * random.normal()]);
    const found = await refine(
      scanOf(plane()),
      scanOf(plane()),
      perturb(IDENTITY_POSE, [3, 2, 1, 0.01, 0.005, 0], [150, 100, 0]),
    );
    expect(found.status).toBe('degenerate');
    expect(found.freeDirections[0]).toMatch(/^shift in the plane across/);
    expect(found.freeDirections[1]).toMatch(/^rotation about/);
    expect(Math.abs(rotationAngle(found.targetFromSource.rotation))).toBeLessThan(0.001);
  });

  it('does not let a large floor win over the object on it (supporting plane: Open3D issue 928)', async () => {
    const random = makeRandom(24, 'floor');
    const scene = (name: string): Vec3[] => {
      const object = sampleBlob(name, 3000, null, 0.05).points.map(
        (p): Vec3 => [p[0] * 0.3, p[1] * 0.3, p[2] * 0.3 + 45],
      );
      const floor = Array.from(
        { length: 20000 },
        (): Vec3 => [600 * random.uniform() - 300, 600 * random.uniform() - 300, 0.05 * random.normal()],
      ).filter((p) => Math.hypot(p[0], p[1]) > 30);
      return [...object, ...floor];
    };
    const source = scene('object a');
    const found = await refine(
      scanOf(source),
      scanOf(scene('object b')),
      perturb(IDENTITY_POSE, [6, -5, 1, 0.01, -0.01, 0.05], [0, 0, 30]),
    );
    expect(found.status).toBe('converged');
    expect(poseDistance(found.targetFromSource, IDENTITY_POSE, source.slice(0, 3000))).toBeLessThan(0.06);
  });

  it('aligns a tenth of overlap or refuses, and refuses none (slight overlap: libpointmatcher issue 131)', async () => {
    const top = sampleBlob('top', 8000, [0, 0.9, 0.43], 0.05);
    const cut = (shape: SampledShape, keep: (p: Vec3) => boolean): Vec3[] => shape.points.filter(keep);
    const left = cut(top, (p) => p[0] < 6);
    const right = cut(sampleBlob('top2', 8000, [0, 0.9, 0.43], 0.05), (p) => p[0] > -6);
    const near = roughly(IDENTITY_POSE, 1, 1, 'slight');
    const found = await refine(scanOf(left), scanOf(right), near);
    expect(found.overlapOfSource).toBeGreaterThan(0.05);
    expect(found.overlapOfSource).toBeLessThan(0.2);
    if (found.status === 'converged') {
      expect(poseDistance(found.targetFromSource, IDENTITY_POSE, left)).toBeLessThan(0.15);
    }
    const apart = await refine(scanOf(cut(top, (p) => p[0] < -20)), scanOf(cut(top, (p) => p[0] > 20)), near);
    expect(apart.status).toBe('insufficient-overlap');
    expect(apart.targetFromSource).toEqual(near);
    expect(apart.remedy).not.toBe('');
  });
});

function readPlyPoints(path: string): Float32Array {
  // Little-endian PLY of six double properties a vertex, as its header says.
  const bytes = readFileSync(path);
  const headerEnd = bytes.indexOf('end_header\n') + 'end_header\n'.length;
  const count = Number(/element vertex (\d+)/.exec(bytes.subarray(0, headerEnd).toString('latin1'))?.[1]);
  const points = new Float32Array(3 * count);
  for (let i = 0; i < count; i++) {
    for (let a = 0; a < 3; a++) points[3 * i + a] = 1000 * bytes.readDoubleLE(headerEnd + 48 * i + 8 * a);
  }
  return points;
}

function readAsciiPlyPoints(path: string): Float32Array {
  const text = readFileSync(path, 'latin1');
  const [header, body] = text.split(/end_header\r?\n/) as [string, string];
  const count = Number(/element vertex (\d+)/.exec(header)?.[1]);
  const numbers = body.split(/\s+/, 3 * count).map((value) => 1000 * Number(value));
  return Float32Array.from(numbers);
}

const cloud = (positions: Float32Array): ScanData => ({
  origin: [0, 0, 0],
  positions,
  normals: null,
  colors: null,
  triangles: null,
  viewpoint: null,
});

const pointsOf = (positions: Float32Array): Vec3[] =>
  Array.from({ length: positions.length / 3 }, (_, i) => [
    positions[3 * i],
    positions[3 * i + 1],
    positions[3 * i + 2],
  ]);

describe.skipIf(sharedPath('data/cgal-data/points_3/hippo1.ply') === null)('refinePose on the hippo pair', () => {
  it('puts more of hippo2 within 0.01 of hippo1 than the stated pose, which puts 54 % there, from any start near it [data/cgal-data/SOURCE.md]', async () => {
    const first = readPlyPoints(sharedPath('data/cgal-data/points_3/hippo1.ply') ?? '');
    const second = readPlyPoints(sharedPath('data/cgal-data/points_3/hippo2.ply') ?? '');
    const stated: Pose = {
      rotation: quaternionOfMatrix([0.7785, -0.0647, -0.6243, -0.0144, 0.9926, -0.1208, 0.6275, 0.1031, 0.7718]),
      translation: [-80.5, -21.6, -21.8],
    };
    const index = buildPointIndex(first);
    const shareWithin = (pose: Pose): number => {
      const moved = Float32Array.from(pointsOf(second).flatMap((p) => [...transformPoint(pose, p)]));
      const found = new Int32Array(moved.length / 3);
      index.nearest(moved, 10, found, new Float32Array(found.length));
      return found.filter((i) => i >= 0).length / found.length;
    };
    expect(shareWithin(stated)).toBeCloseTo(0.54, 2);
    const answers: Pose[] = [];
    for (const name of ['one', 'two', 'three']) {
      const found = await refine(cloud(second), cloud(first), roughly(stated, 3, 5, name));
      expect(found.status).toBe('converged');
      expect(shareWithin(found.targetFromSource)).toBeGreaterThan(0.78);
      answers.push(found.targetFromSource);
    }
    // The stated pose is 46 away: it was found with matches of points, which lock onto the sampling. Spacing is 4.3.
    for (const answer of answers) expect(poseDistance(answer, answers[0], pointsOf(second))).toBeLessThan(0.05);
  });
});

describe.skipIf(sharedPath('data/stanford-bunny-scans/bun000.ply') === null)('refinePose on real range scans', () => {
  it('finds the published pose of bun045 on bun000 within its accuracy of 0.3 mm [Stanford 3D Scanning Repository, bun.conf]', async () => {
    const target = readAsciiPlyPoints(sharedPath('data/stanford-bunny-scans/bun000.ply') ?? '');
    const source = readAsciiPlyPoints(sharedPath('data/stanford-bunny-scans/bun045.ply') ?? '');
    // bun.conf: tx ty tz qx qy qz qw; the rotation is the transpose of the usual one, so the vector part is negated.
    const published: Pose = {
      rotation: [0.955586, -0.00548449, 0.294635, 0.0038555],
      translation: [-52.0211, -0.383981, -10.9223],
    };
    const found = await refine(cloud(source), cloud(target), roughly(published, 5, 2, 'bun045'));
    expect(found.status).toBe('converged');
    expect(poseDistance(found.targetFromSource, published, pointsOf(source))).toBeLessThan(0.3);
  });
});
