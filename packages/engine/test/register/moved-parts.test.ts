import { describe, expect, it } from 'vitest';
import { makeRunContext } from '../../src/base/index.ts';
import {
  compose,
  distance,
  IDENTITY_POSE,
  invert,
  type Pose,
  transformPoint,
  type Vec3,
} from '../../src/math/index.ts';
import { findMovedParts, type PreparedScan, prepareScan, refinePose } from '../../src/register/index.ts';
import { captureDoor, type DoorScan, doorShifted, doorTurned } from './door-scene.ts';
import { shuffledOrder } from './sampled-shapes.ts';

const SPACING = 9;
const SESSION = { spacing: SPACING, white: 0.05, correlated: { sigma: 0.05, length: 150 } } as const;
/** White and correlated noise of both scans together, mm. */
const SIGMA = Math.hypot(0.05, 0.05, 0.05, 0.05);

async function look(seed: string, door: Pose) {
  const context = makeRunContext();
  const before = captureDoor({ ...SESSION, name: `before ${seed}`, door: IDENTITY_POSE });
  const after = captureDoor({ ...SESSION, name: `after ${seed}`, door });
  const a = await prepareScan(before.data, {}, context);
  const b = await prepareScan(after.data, {}, context);
  const { targetFromSource } = await refinePose(a, b, { start: IDENTITY_POSE }, context);
  const parts = await findMovedParts(a, b, targetFromSource, {}, context);
  return { before, after, a, b, bFromA: targetFromSource, parts, context };
}

/**
 * Share of points classed right among those that can be told: the door's motion shifts them across the surface by more than
 * three standard deviations of a distance between the two scans. The rest says nothing either way: both motions fit it.
 */
function rightShares(scan: DoorScan, prepared: PreparedScan, found: Uint32Array, door: Pose) {
  const keyOf = (at: ArrayLike<number>, i: number): string => `${at[3 * i]} ${at[3 * i + 1]} ${at[3 * i + 2]}`;
  const inPart = new Set(Array.from(found, (i) => keyOf(prepared.positions, i)));
  let doorCount = 0;
  let doorRight = 0;
  let bodyWrong = 0;
  scan.places.forEach((place, i) => {
    const moved = transformPoint(door, place);
    const across = scan.normals[i].reduce((sum, n, k) => sum + n * (moved[k] - place[k]), 0);
    if (Math.abs(across) < 3 * SIGMA) return;
    const isFound = inPart.has(keyOf(scan.data.positions, i));
    if (i >= scan.bodyCount) {
      doorCount++;
      if (isFound) doorRight++;
    } else if (isFound) bodyWrong++;
  });
  return { right: doorRight / doorCount, wrong: bodyWrong / doorCount };
}

function expectSameMotion(found: Pose, door: Pose, within: number): void {
  for (const corner of [
    [-200, -220, 40],
    [-200, 200, 40],
    [120, -220, 40],
    [120, 200, 40],
  ] as Vec3[]) {
    const [x, y] = [transformPoint(found, corner), transformPoint(door, corner)];
    // Along a nearly even door nothing holds well; across it everything does.
    expect(Math.abs(x[2] - y[2])).toBeLessThan(within);
  }
}

describe('findMovedParts', () => {
  it.each([
    ['turned by half a degree', doorTurned(0.5), 0.5, '1'],
    ['turned by half a degree, other noise', doorTurned(0.5), 0.5, '2'],
    ['turned by three degrees', doorTurned(3), 3, '3'],
    ['pushed out by 20 mm', doorShifted(20), 0, '4'],
  ])('finds a door %s, and nearly every point of it', async (_name, door, angleDeg, seed) => {
    const { before, after, a, b, bFromA, parts } = await look(seed, door);
    expect(parts.length).toBe(1);
    const [part] = parts;
    for (const { right, wrong } of [
      rightShares(before, a, part.points, door),
      rightShares(after, b, part.pointsOfB, door),
    ]) {
      expect(right).toBeGreaterThan(0.98);
      expect(wrong).toBeLessThan(0.02);
    }
    expect(Math.abs((part.angle * 180) / Math.PI - angleDeg)).toBeLessThan(0.1);
    // Half a millimetre where the noise hangs together over half the door: 0.07 mm over 150 mm, continued to the corners.
    expectSameMotion(compose(invert(bFromA), part.bFromA), door, 0.5);
  });

  it('is the same from the other scan, and for points in another order', async () => {
    const door = doorTurned(0.5);
    const { after, a, b, bFromA, parts, context } = await look('1', door);
    const backward = await findMovedParts(b, a, invert(bFromA), {}, context);
    expect(backward.length).toBe(1);
    expect(backward[0].points).toEqual(parts[0].pointsOfB);
    expect(backward[0].pointsOfB).toEqual(parts[0].points);
    const there = transformPoint(backward[0].bFromA, transformPoint(parts[0].bFromA, [0, 0, 0]));
    expect(distance(there, [0, 0, 0])).toBeLessThan(1e-9);
    const order = shuffledOrder(after.places.length, 'order of points');
    const positions = new Float32Array(after.data.positions.length);
    order.forEach((from, to) => {
      positions.set(after.data.positions.subarray(3 * from, 3 * from + 3), 3 * to);
    });
    const shuffled = await prepareScan({ ...after.data, positions }, {}, context);
    expect(await findMovedParts(a, shuffled, bFromA, {}, context)).toEqual(parts);
  });

  it('raises no alarm where nothing moved, though the noise hangs together', async () => {
    for (let seed = 0; seed < 20; seed++) {
      const context = makeRunContext();
      const [a, b] = await Promise.all(
        ['before', 'after'].map((name) =>
          prepareScan(
            captureDoor({ ...SESSION, spacing: 16, name: `${name} still ${seed}`, door: IDENTITY_POSE }).data,
            {},
            context,
          ),
        ),
      );
      const { targetFromSource } = await refinePose(a, b, { start: IDENTITY_POSE, fineSamples: 4000 }, context);
      expect(await findMovedParts(a, b, targetFromSource, {}, context)).toEqual([]);
    }
  });
});
