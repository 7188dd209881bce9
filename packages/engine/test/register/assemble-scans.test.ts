import {
  assembleScans,
  chooseCoarseSpacing,
  compose,
  describeForAssembly,
  invert,
  makeRunContext,
  type Pose,
  prepareScan,
  rotate,
  rotationAngle,
  type ScanData,
  type Vec3,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { sharedPath } from '../../../../tests/shared-data.ts';
import { assembleAll, deviationAfterFit } from './assembly-check.ts';
import { inOtherFrame, randomStart, readBunnyScans } from './bunny-scans.ts';
import { ShapeSampler, type SurfacePoint, seenFrom } from './coarse-shapes.ts';

const context = makeRunContext();

/** A closed body of spheres: curved everywhere, without symmetry. */
function pebbles(shapes: ShapeSampler, centers: readonly Vec3[], radii: readonly number[]): SurfacePoint[] {
  return centers.flatMap((center, i) =>
    shapes
      .sphere(radii[i], 0.1, center)
      .filter(({ p }) => centers.every((c, k) => k === i || Math.hypot(...p.map((v, a) => v - c[a])) > radii[k])),
  );
}

const firstBody = (shapes: ShapeSampler): SurfacePoint[] =>
  pebbles(
    shapes,
    [
      [0, 0, 0],
      [45, 10, 5],
      [-30, 35, 10],
      [5, -38, 25],
      [-25, -20, 35],
      [20, 25, 38],
      [30, -15, -35],
      [-20, 12, -40],
    ],
    [45, 26, 22, 20, 16, 14, 20, 17],
  );

const secondBody = (shapes: ShapeSampler): SurfacePoint[] =>
  pebbles(
    shapes,
    [
      [0, 0, 0],
      [38, 0, 20],
      [-15, 40, 0],
      [-30, -25, 20],
      [10, -10, 42],
    ],
    [40, 18, 24, 25, 13],
  );

async function views(
  shapes: ShapeSampler,
  body: (shapes: ShapeSampler) => SurfacePoint[],
  directions: readonly Vec3[],
): Promise<{ scans: ScanData[]; truth: Pose[] }> {
  const scans: ScanData[] = [];
  const truth: Pose[] = [];
  for (const view of directions) {
    const scanFromBody = shapes.pose(1000);
    scans.push(shapes.scan(seenFrom(body(shapes), view), scanFromBody, 0.05));
    truth.push(invert(scanFromBody));
  }
  return { scans, truth };
}

const ROUND: readonly Vec3[] = [
  [1, 0, 0.3],
  [0.3, 0.9, 0.3],
  [-0.8, 0.5, 0.3],
  [-0.6, -0.8, 0.3],
  [0.5, -0.8, 0.3],
];

describe('assembleScans', () => {
  it('places all views of one body, and leaves no trace of the order of pairs or scans', async () => {
    const { scans, truth } = await views(new ShapeSampler('assembly'), firstBody, ROUND);
    const prepared = await Promise.all(scans.map((scan) => prepareScan(scan, {}, context)));
    const { result, pairs } = await assembleAll(prepared);
    expect(result.scans.map((scan) => scan.status)).toStrictEqual(ROUND.map(() => 'placed'));
    const deviation = deviationAfterFit(result, prepared, truth);
    expect(deviation.angleDeg).toBeLessThan(1);
    expect(deviation.way).toBeLessThan(1);
    for (const scan of result.scans) {
      expect(scan.overlapShare).toBeGreaterThan(0.3);
      expect(scan.freeSpaceShare).toBeLessThan(0.02);
      expect(scan.margin).toBeGreaterThan(0.3);
    }

    const spacing = chooseCoarseSpacing(prepared, 0.05);
    const described = prepared.map((scan) => describeForAssembly(scan, spacing));
    expect(await assembleScans(described, [...pairs].reverse(), context)).toStrictEqual(result);
  });

  it('two bodies: the larger group is kept, the scans of the other are refused by name', async () => {
    const shapes = new ShapeSampler('two bodies');
    const first = await views(shapes, firstBody, ROUND.slice(0, 3));
    const second = await views(shapes, secondBody, ROUND.slice(0, 2));
    const order = [second.scans[0], first.scans[0], first.scans[1], second.scans[1], first.scans[2]];
    const prepared = await Promise.all(order.map((scan) => prepareScan(scan, {}, context)));
    const { result } = await assembleAll(prepared);
    expect(result.scans.map((scan) => scan.status)).toStrictEqual([
      'other-group',
      'placed',
      'placed',
      'other-group',
      'placed',
    ]);
    expect(result.otherGroups).toStrictEqual([[0, 3]]);
    expect(result.placedCount).toBe(3);
    for (const i of [0, 3]) {
      expect(result.scans[i].assemblyFromScan).toBeNull();
      expect(result.scans[i].remedy).not.toBe('');
    }
    const found = result.scans[2].assemblyFromScan as Pose;
    const truth = compose(invert(first.truth[0]), first.truth[1]);
    expect((rotationAngle(compose(invert(truth), found).rotation) * 180) / Math.PI).toBeLessThan(1);
  });

  it('nothing that fits, one scan, no scan: refusals and no pose', async () => {
    const shapes = new ShapeSampler('no fit');
    const ball = shapes.scan(shapes.sphere(40, 0.05), shapes.pose(), 0.05);
    const body = shapes.scan(seenFrom(firstBody(shapes), [0, 0, 1]), shapes.pose(), 0.05);
    const prepared = await Promise.all([ball, body].map((scan) => prepareScan(scan, {}, context)));
    const { result } = await assembleAll(prepared);
    expect(result.placedCount).toBe(0);
    for (const scan of result.scans) {
      expect(scan.status).toBe('insufficient-overlap');
      expect(scan.message).not.toBe('');
    }
    expect((await assembleAll(prepared.slice(0, 1))).result.placedCount).toBe(0);
    expect((await assembleAll([])).result.scans).toStrictEqual([]);
  });

  it('a ball among the views of a body fits somewhere, slides, and is refused', async () => {
    const shapes = new ShapeSampler('sliding');
    const { scans } = await views(shapes, firstBody, ROUND.slice(0, 3));
    // The largest pebble alone: it lies on the body's first sphere in any turn.
    const cap = shapes.scan(
      seenFrom(shapes.sphere(45, 0.1), [0, 0, 1]).map(({ p, n }) => ({
        p: rotate([1, 0, 0, 0], p),
        n,
      })),
      shapes.pose(),
      0.05,
    );
    const prepared = await Promise.all([...scans, cap].map((scan) => prepareScan(scan, {}, context)));
    const { result } = await assembleAll(prepared);
    expect(result.scans.slice(0, 3).every((scan) => scan.status === 'placed')).toBe(true);
    expect(result.scans[3].status).not.toBe('placed');
    expect(result.scans[3].assemblyFromScan).toBeNull();
  });
});

const folder = sharedPath('data/stanford-bunny-scans');

describe.skipIf(folder === null)('assembleScans on the ten scans of the Stanford bunny (poses: bun.conf)', () => {
  it('all ten from nothing, within 1 degree and 1.5 mm of the published poses', async () => {
    const published = await readBunnyScans(folder as string);
    const starts = published.map(({ name }) => randomStart(1, name, 5000));
    const prepared = await Promise.all(
      published.map(({ data }, i) => prepareScan(inOtherFrame(data, starts[i]), {}, context)),
    );
    const { result } = await assembleAll(prepared);
    expect(result.placedCount).toBe(10);
    const truth = published.map((scan, i) => compose(scan.objectFromScan, invert(starts[i])));
    const deviation = deviationAfterFit(result, prepared, truth);
    expect(deviation.angleDeg).toBeLessThan(1);
    expect(deviation.way).toBeLessThan(1.5);
    for (const scan of result.scans) expect(scan.freeSpaceShare).toBeLessThan(0.01);
  });
});
