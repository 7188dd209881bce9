import {
  type AlignmentResult,
  alignScans,
  compose,
  distance,
  IDENTITY_POSE,
  invert,
  makeRunContext,
  makeSerialRunner,
  PIPELINE_TASKS,
  type Pose,
  prepareScan,
  quaternionOfVector,
  type RunContext,
  type ScanData,
  transformPoint,
  type Vec3,
  vectorOfQuaternion,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import type { MovedPartsOutput } from '../../src/pipeline/tasks.ts';
import { captureDoor, doorTurned } from '../register/door-scene.ts';
import { captureTurnedObject } from './turned-object.ts';

const runner = makeSerialRunner(PIPELINE_TASKS);
const FRAMES: readonly Pose[] = [
  IDENTITY_POSE,
  { rotation: quaternionOfVector([0.3, -0.8, 1.2]), translation: [2500, -900, 300] },
  { rotation: quaternionOfVector([-0.3, 0.8, 0.4]), translation: [-1500, -900, 300] },
];

function align(scans: readonly ScanData[], context: RunContext): Promise<AlignmentResult> {
  const names = scans.map((_, i) => `session-${i + 1}`);
  const instrument = { name: 'scanner', reach: null, volumetric: 0 };
  return alignScans(
    {
      frames: names,
      scans: scans.map((data, i) => ({ id: names[i], name: names[i], frame: names[i], data, noise: null, instrument })),
      targetLists: [],
      ties: [],
    },
    {},
    runner,
    context,
  );
}

/** One capture for each angle of the door, degrees. */
function sessions(seed: string, angles: readonly number[]): ScanData[] {
  const noise = { white: 0.05, correlated: { sigma: 0.05, length: 150 } };
  return angles.map(
    (angle, i) =>
      captureDoor({
        ...noise,
        spacing: 12,
        name: `${seed} ${i}`,
        door: doorTurned(angle),
        frameFromBody: FRAMES[i],
      }).data,
  );
}

/** Motion between two poses about a point, in the order of a covariance: tx ty tz rx ry rz. */
function motionBetween(before: Pose, after: Pose, reference: Vec3): number[] {
  const change = compose(after, invert(before));
  const moved = transformPoint(change, reference);
  return [...moved.map((value, k) => value - reference[k]), ...vectorOfQuaternion(change.rotation)];
}

describe('a door that stood otherwise in one session', () => {
  it('is named with its motion, and bends the body by less than its own sigma', async () => {
    const context = makeRunContext();
    const still = await align(sessions('three', [0, 0, 0]), makeRunContext());
    const moved = await align(sessions('three', [0, 0.5, 0]), context);
    expect(still.movedParts).toEqual([]);
    const pairs = moved.movedParts.map(({ scanA, scanB }) => [scanA, scanB].sort().join(' '));
    expect(pairs.sort()).toEqual(['session-1 session-2', 'session-2 session-3']);
    for (const part of moved.movedParts) {
      expect(Math.abs((part.angle * 180) / Math.PI - 0.5)).toBeLessThan(0.1);
      // The job's frame is the first session's, and so the body's: the middle of the door is known.
      expect(distance(part.middle, [-40, -10, 58])).toBeLessThan(15);
      const isForward = part.scanB === 'session-2';
      const truth = isForward ? doorTurned(0.5) : invert(doorTurned(0.5));
      for (const corner of [
        [120, -220, 55],
        [120, 200, 55],
      ] as Vec3[]) {
        const [x, y] = [transformPoint(part.motion, corner), transformPoint(truth, corner)];
        expect(Math.abs(x[2] - y[2])).toBeLessThan(0.5);
      }
    }
    const said = context.findings.items.filter((finding) => finding.code === 'part-moved');
    expect(said.length).toBe(2);
    moved.frames.forEach((frame, i) => {
      if (frame.status === 'fixed') return;
      expect(frame.covariance).not.toBeNull();
      const [before, after] = [still.frames[i].jobFromFrame as Pose, frame.jobFromFrame as Pose];
      motionBetween(before, after, frame.covarianceReference as Vec3).forEach((value, k) => {
        const sigma = Math.sqrt(frame.covariance?.[7 * k] as number);
        expect(Math.abs(value), `frame ${i + 1}, component ${k}`).toBeLessThan(sigma);
      });
    });
    expect(moved.frames.map((frame) => frame.status)).toEqual(['fixed', 'adjusted', 'adjusted']);
  }, 300_000);
});

describe('the task find-moved-parts', () => {
  it('gives the same on another thread: from a copy of the scans, after other work', async () => {
    const context = makeRunContext();
    const [a, b] = await Promise.all(
      sessions('copy', [0, 3]).map((data) => prepareScan({ ...data, viewpoint: null }, {}, context)),
    );
    const bFromA = FRAMES[1];
    const input = { a: { key: 'a', scan: a }, b: { key: 'b', scan: b }, bFromA, options: {} };
    const copy = structuredClone({ ...input, a: { key: 'copy of a', scan: a }, b: { key: 'copy of b', scan: b } });
    const task = PIPELINE_TASKS['find-moved-parts'] as (
      task: unknown,
      context: RunContext,
    ) => Promise<MovedPartsOutput>;
    const here = await task(input, context);
    expect(here.parts.length).toBe(1);
    // What is left out reaches a little beyond the part.
    expect(here.exclude?.a.length).toBeGreaterThan(here.parts[0].points.length);
    await task({ ...copy, bFromA: IDENTITY_POSE }, context);
    expect(await task(copy, context)).toEqual(here);
  }, 60_000);
});

describe('an object turned by 30 degrees before a still background (field report 38)', () => {
  it('is said as a second motion beside the one that the frames follow', async () => {
    const context = makeRunContext();
    const turned: Pose = { rotation: quaternionOfVector([0, 0, Math.PI / 6]), translation: [0, 0, 0] };
    const scans = [
      captureTurnedObject('first', IDENTITY_POSE, FRAMES[0]),
      captureTurnedObject('second', turned, FRAMES[1]),
    ];
    const result = await align(scans, context);
    const pose = result.frames[1].jobFromFrame;
    // A refusal would be right too; a place without a word would not.
    expect(pose).not.toBeNull();
    const worldFromWorld = compose(pose as Pose, FRAMES[1]);
    const followsBackground = distance(transformPoint(worldFromWorld, [300, 300, 0]), [300, 300, 0]) < 0.2;
    expect(followsBackground).toBe(true);
    expect(result.movedParts.length).toBe(1);
    const [group] = result.movedParts;
    expect(Math.abs((group.angle * 180) / Math.PI - 30)).toBeLessThan(0.1);
    const isForward = group.scanA === 'session-1';
    const corner: Vec3 = [80, 50, 100];
    expect(
      distance(transformPoint(group.motion, corner), transformPoint(isForward ? turned : invert(turned), corner)),
    ).toBeLessThan(0.2);
    const finding = context.findings.items.find((item) => item.code === 'part-moved');
    expect(finding?.message).toContain('follow');
    expect(finding?.remedy).toContain('background');
  }, 300_000);
});
