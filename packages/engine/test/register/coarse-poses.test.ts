import {
  compose,
  findCoarsePoses,
  invert,
  makeRunContext,
  type Pose,
  prepareScan,
  rotate,
  rotationAngle,
  type ScanData,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { ShapeSampler, type SurfacePoint, seenFrom } from './coarse-shapes.ts';

const context = makeRunContext();
const degrees = 180 / Math.PI;

async function findPose(source: ScanData, target: ScanData): ReturnType<typeof findCoarsePoses> {
  return findCoarsePoses(await prepareScan(source, {}, context), await prepareScan(target, {}, context), {}, context);
}

/** Rotation (degrees) and the way of a point, mm, between two poses. */
function difference(a: Pose, b: Pose, point: Vec3): { angleDeg: number; way: number } {
  const p = transformPoint(a, point);
  const q = transformPoint(b, point);
  return {
    angleDeg: rotationAngle(compose(invert(a), b).rotation) * degrees,
    way: Math.hypot(p[0] - q[0], p[1] - q[1], p[2] - q[2]),
  };
}

/** Solids joined to one: points of each that lie in no other. */
function join(solids: readonly { points: SurfacePoint[]; contains: (p: Vec3) => boolean }[]): SurfacePoint[] {
  return solids.flatMap((solid) =>
    solid.points.filter(({ p }) => !solids.some((other) => other !== solid && other.contains(p))),
  );
}

/** A part without symmetry: block, dome, slanted rib, lug. */
function housing(shapes: ShapeSampler, density: number): SurfacePoint[] {
  const block = (size: Vec3, center: Vec3, angle = 0): { points: SurfacePoint[]; contains: (p: Vec3) => boolean } => {
    const turn = [Math.cos(angle / 2), 0, 0, Math.sin(angle / 2)] as const;
    const back = [Math.cos(angle / 2), 0, 0, -Math.sin(angle / 2)] as const;
    return {
      points: shapes.box(size, density, center).map(({ p, n }) => ({ p: rotate(turn, p), n: rotate(turn, n) })),
      contains: (p) => rotate(back, p).every((value, k) => Math.abs(value - center[k]) < size[k] / 2 - 1e-9),
    };
  };
  return join([
    block([160, 100, 50], [0, 0, 0]),
    {
      points: shapes.sphere(28, density, [-45, 10, 20]),
      contains: (p) => Math.hypot(p[0] + 45, p[1] - 10, p[2] - 20) < 28,
    },
    block([70, 12, 40], [30, -10, 33], 0.5),
    block([20, 60, 22], [85, 10, 5]),
  ]);
}

describe('findCoarsePoses', () => {
  it('finds the pose of two views of one part from any start, with viewpoints and without', async () => {
    for (const withView of [true, false]) {
      const shapes = new ShapeSampler(`views ${withView}`);
      const [a, b] = [shapes.pose(), shapes.pose(3000)];
      const viewA: Vec3 = [0.5, 0.2, 0.8];
      const viewB: Vec3 = [0.3, -0.5, 0.8];
      const source = shapes.scan(seenFrom(housing(shapes, 0.12), viewA), a, 0.1, withView ? viewA : null);
      const target = shapes.scan(seenFrom(housing(shapes, 0.12), viewB), b, 0.1, withView ? viewB : null);
      const result = await findPose(source, target);
      expect(result.status).toBe('accepted');
      const found = difference(result.poses[0].targetFromSource, compose(b, invert(a)), a.translation);
      expect(found.angleDeg).toBeLessThan(1);
      expect(found.way).toBeLessThan(result.spacing / 2);
      expect(result.poses[0].consistency).toBeGreaterThan(0.9);
      expect(result.poses[0].source.freeSpaceShare).toBeLessThan(0.02);
      expect(result.margin).toBeGreaterThan(0.5);
    }
  });

  it('swapped roles give the inverse pose, permuted points the same pose, metres the same answer', async () => {
    const shapes = new ShapeSampler('invariance');
    const [a, b] = [shapes.pose(), shapes.pose()];
    const source = shapes.scan(seenFrom(housing(shapes, 0.12), [0.5, 0.2, 0.8]), a, 0.1);
    const target = shapes.scan(seenFrom(housing(shapes, 0.12), [0.3, -0.5, 0.8]), b, 0.1);
    const first = await findPose(source, target);
    expect(first.status).toBe('accepted');
    const pose = first.poses[0].targetFromSource;

    const swapped = invert((await findPose(target, source)).poses[0].targetFromSource);
    for (let k = 0; k < 4; k++) expect(swapped.rotation[k]).toBeCloseTo(pose.rotation[k], 12);
    for (let k = 0; k < 3; k++) expect(swapped.translation[k]).toBeCloseTo(pose.translation[k], 8);

    const count = source.positions.length / 3;
    const order = Array.from({ length: count }, (_, i) => (i * 7919) % count);
    const permute = (values: Float32Array): Float32Array =>
      Float32Array.from(order.flatMap((i) => [...values.subarray(3 * i, 3 * i + 3)]));
    const permuted = await findPose(
      { ...source, positions: permute(source.positions), normals: permute(source.normals as Float32Array) },
      target,
    );
    expect(permuted).toStrictEqual(first);
    // field report 24 (Open3D 7475): the same pair twice gives the same bits.
    expect(await findPose(source, target)).toStrictEqual(first);

    const toMetres = (scan: ScanData): ScanData => ({
      ...scan,
      origin: [scan.origin[0] / 1024, scan.origin[1] / 1024, scan.origin[2] / 1024],
      positions: scan.positions.map((value) => value / 1024),
    });
    const small = (await findPose(toMetres(source), toMetres(target))).poses[0];
    for (let k = 0; k < 4; k++) expect(small.targetFromSource.rotation[k]).toBeCloseTo(pose.rotation[k], 10);
    for (let k = 0; k < 3; k++)
      expect(small.targetFromSource.translation[k] * 1024).toBeCloseTo(pose.translation[k], 6);
    expect(small.score).toBeCloseTo(first.poses[0].score, 9);
  });

  it('far from the origin the answer stays (field report 1)', async () => {
    const shapes = new ShapeSampler('far');
    const [a, b] = [shapes.pose(0), shapes.pose(0)];
    const source = shapes.scan(seenFrom(housing(shapes, 0.12), [0.5, 0.2, 0.8]), a, 0.1);
    const target = shapes.scan(seenFrom(housing(shapes, 0.12), [0.3, -0.5, 0.8]), b, 0.1);
    const near = (await findPose(source, target)).poses[0];
    const far: Vec3 = [1e7, -1e7, 1e7];
    const moved = await findPose({ ...source, origin: far }, { ...target, origin: far });
    const pose = compose(
      compose({ rotation: [1, 0, 0, 0], translation: [-1e7, 1e7, -1e7] }, moved.poses[0].targetFromSource),
      {
        rotation: [1, 0, 0, 0],
        translation: far,
      },
    );
    const gap = difference(pose, near.targetFromSource, [0, 0, 0]);
    expect(gap.angleDeg).toBeLessThan(1e-6);
    expect(gap.way).toBeLessThan(1e-6 * 1e3);
  });

  it('a wrong object is refused however large the overlap looks (field report 10, Open3D 3617)', async () => {
    const shapes = new ShapeSampler('wrong object');
    const view: Vec3 = [0.3, 0.2, 0.93];
    const [a, b] = [shapes.pose(), shapes.pose()];
    const right = shapes.scan(seenFrom(housing(shapes, 0.12), view), a, 0.1, view);
    const model = shapes.scan(housing(shapes, 0.12), b, 0.05);
    const other = [
      ...shapes.box([140, 110, 45], 0.12),
      ...shapes.box([30, 20, 40], 0.12, [-30, 20, 30]),
      ...shapes.sphere(20, 0.12, [45, -20, 25]),
    ];
    const wrong = shapes.scan(seenFrom(other, view), a, 0.1, view);
    const good = await findPose(right, model);
    expect(good.status).toBe('accepted');
    expect(difference(good.poses[0].targetFromSource, compose(b, invert(a)), a.translation).angleDeg).toBeLessThan(1);
    expect((await findPose(wrong, model)).status).not.toBe('accepted');
  });

  it('two basins of a half-symmetric part: no choice unless the half that differs is seen (field report 11, Open3D 3094)', async () => {
    const shapes = new ShapeSampler('half symmetric');
    const part = (): SurfacePoint[] => [
      ...shapes.box([160, 80, 60], 0.1),
      ...shapes.box([24, 24, 50], 0.3, [60, 20, 50]).filter(({ p }) => p[2] > 30),
    ];
    const symmetricHalf = (): SurfacePoint[] => part().filter(({ p }) => p[0] < 30);
    const [a, b] = [shapes.pose(), shapes.pose()];
    const result = await findPose(shapes.scan(symmetricHalf(), a, 0.05), shapes.scan(symmetricHalf(), b, 0.05));
    expect(result.status).toBe('ambiguous');
    expect(result.margin).toBeLessThan(0.1);
    expect(result.message).toMatch(/Ambiguous: \d+ poses/);
    const truth = compose(b, invert(a));
    const near = result.poses
      .slice(0, 2)
      .map((pose) => difference(pose.targetFromSource, truth, a.translation).angleDeg);
    expect(Math.min(...near)).toBeLessThan(1);
    expect(Math.max(...near)).toBeGreaterThan(179);
    // With the half that differs in both scans the right one of the four is found, and the runner-up is told.
    const whole = await findPose(shapes.scan(part(), a, 0.05), shapes.scan(part(), b, 0.05));
    expect(whole.status).toBe('accepted');
    expect(difference(whole.poses[0].targetFromSource, truth, a.translation).angleDeg).toBeLessThan(0.5);
    expect(difference(whole.poses[1].targetFromSource, truth, a.translation).angleDeg).toBeGreaterThan(179);
    expect(whole.margin).toBeGreaterThan(0.15);
    expect(whole.margin).toBeLessThan(0.8);
  });

  it('an object on a large table: the table does not win (field report 14, Open3D 928)', async () => {
    const shapes = new ShapeSampler('table');
    const raised = (): SurfacePoint[] =>
      housing(shapes, 0.12)
        .map(({ p, n }): SurfacePoint => ({ p: [p[0], p[1], p[2] + 25], n }))
        .filter(({ p }) => p[2] > 0.5);
    const underneath = ({ p }: SurfacePoint): boolean => Math.abs(p[0]) < 80 && Math.abs(p[1]) < 50;
    const scene = (): SurfacePoint[] => [
      ...shapes.plane(280, 240, 0.06).filter((point) => !underneath(point)),
      ...raised(),
    ];
    const [a, b] = [shapes.pose(), shapes.pose()];
    const views: [Vec3, Vec3] = [
      [0.35, 0.3, 0.88],
      [-0.3, 0.4, 0.86],
    ];
    const result = await findPose(
      shapes.scan(
        seenFrom(scene(), views[0]).filter(({ p }) => p[0] > -200),
        a,
        0.1,
        views[0],
      ),
      shapes.scan(
        seenFrom(scene(), views[1]).filter(({ p }) => p[1] < 180),
        b,
        0.1,
        views[1],
      ),
    );
    if (result.status === 'accepted') {
      const found = difference(result.poses[0].targetFromSource, compose(b, invert(a)), a.translation);
      expect(found.angleDeg).toBeLessThan(1);
      expect(found.way).toBeLessThan(result.spacing);
    }
    // The table alone is refused by name.
    const alone = await findPose(
      shapes.scan(shapes.plane(280, 240, 0.02), a, 0.1),
      shapes.scan(shapes.plane(240, 280, 0.02), b, 0.1),
    );
    expect(alone.status).toBe('ambiguous');
    expect(alone.freeDirections.join()).toMatch(/shift in the plane/);
  });

  it('a cylinder, and one with a tiny key: rotation about the axis is named (field report 16, perfectlyconstrained 6)', async () => {
    for (const keyed of [false, true]) {
      const shapes = new ShapeSampler(`cylinder ${keyed}`);
      const part = (): SurfacePoint[] => [
        ...shapes.cylinder(40, 150, 0.08),
        ...(keyed ? shapes.box([4, 8, 12], 0.5, [41, 0, 10]).filter(({ n }) => n[0] > -0.5) : []),
      ];
      const [a, b] = [shapes.pose(), shapes.pose()];
      const result = await findPose(shapes.scan(part(), a, 0.05), shapes.scan(part(), b, 0.05));
      expect(result.status).toBe('ambiguous');
      expect(result.freeDirections).toHaveLength(1);
      const axis = rotate(b.rotation, [0, 0, 1]);
      const named = /rotation about \(([-\d., ]+)\)/.exec(result.freeDirections[0])?.[1].split(',').map(Number) ?? [
        0, 0, 0,
      ];
      expect(Math.abs(named[0] * axis[0] + named[1] * axis[1] + named[2] * axis[2])).toBeGreaterThan(0.999);
    }
  });

  it('a tenth of overlap: right, or refused (field report 18, libpointmatcher 131)', async () => {
    const shapes = new ShapeSampler('slight overlap');
    const [a, b] = [shapes.pose(), shapes.pose()];
    const left = housing(shapes, 0.12).filter(({ p }) => p[0] < 0);
    const right = housing(shapes, 0.12).filter(({ p }) => p[0] > -12);
    const result = await findPose(shapes.scan(left, a, 0.1), shapes.scan(right, b, 0.1));
    if (result.status === 'accepted') {
      const found = difference(result.poses[0].targetFromSource, compose(b, invert(a)), a.translation);
      expect(found.angleDeg).toBeLessThan(2);
      expect(found.way).toBeLessThan(2 * result.spacing);
    } else {
      expect(result.remedy).not.toBe('');
    }
  });

  it('a box turned by more than 90 degrees: its four poses are listed (field report 22, Open3D 5716)', async () => {
    const shapes = new ShapeSampler('box');
    const part = (): SurfacePoint[] => shapes.box([100, 80, 60], 0.08);
    const [a, b] = [shapes.pose(), shapes.pose()];
    const result = await findPose(shapes.scan(part(), a, 0.05), shapes.scan(part(), b, 0.05));
    expect(result.status).toBe('ambiguous');
    expect(result.message).toContain('4 poses');
    const truth = compose(b, invert(a));
    const angles = result.poses
      .slice(0, 4)
      .map((pose) => difference(pose.targetFromSource, truth, a.translation).angleDeg);
    angles.sort((p, q) => p - q);
    expect(angles[0]).toBeLessThan(0.5);
    for (const angle of angles.slice(1)) expect(angle).toBeGreaterThan(179);
  });

  it('a cube: all 24 poses are listed, none is chosen', async () => {
    const shapes = new ShapeSampler('cube');
    const part = (): SurfacePoint[] => shapes.box([100, 100, 100], 0.06);
    const result = await findPose(shapes.scan(part(), shapes.pose(), 0.05), shapes.scan(part(), shapes.pose(), 0.05));
    expect(result.status).toBe('ambiguous');
    expect(result.message).toContain('24 poses');
  });

  it('a sphere turns freely, and unrelated shapes and empty scans are refused', async () => {
    const shapes = new ShapeSampler('refusals');
    const ball = await findPose(
      shapes.scan(seenFrom(shapes.sphere(50, 0.12), [0, 0, 1]), shapes.pose(), 0.05),
      shapes.scan(seenFrom(shapes.sphere(50, 0.12), [0, 0.5, 0.8]), shapes.pose(), 0.05),
    );
    expect(ball.status).toBe('ambiguous');
    expect(ball.freeDirections.join()).toMatch(/rotation about any axis/);

    const unrelated = await findPose(
      shapes.scan(seenFrom(housing(shapes, 0.1), [0, 0.2, 1]), shapes.pose(), 0.1),
      shapes.scan(shapes.sphere(60, 0.1), shapes.pose(), 0.1),
    );
    expect(unrelated.status).toBe('insufficient-overlap');
    const empty: ScanData = {
      origin: [0, 0, 0],
      positions: new Float32Array(),
      normals: null,
      colors: null,
      triangles: null,
      viewpoint: null,
    };
    const nothing = await findPose(empty, shapes.scan(shapes.sphere(60, 0.05), shapes.pose(), 0.1));
    expect(nothing.status).toBe('insufficient-overlap');
    const one = await findPose({ ...empty, positions: Float32Array.of(1, 2, 3) }, empty);
    expect(one.status).toBe('insufficient-overlap');
    const equal = await findPose(
      { ...empty, positions: new Float32Array(300).fill(5) },
      { ...empty, positions: new Float32Array(300).fill(5) },
    );
    expect(equal.status).toBe('insufficient-overlap');
  });
});
