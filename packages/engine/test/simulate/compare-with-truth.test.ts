import {
  choleskyFactor,
  compareSurfaceWithTruth,
  compareWithTruth,
  compose,
  type FramePose,
  IDENTITY_POSE,
  invert,
  type KnownTruth,
  makeRandom,
  type Pose,
  perturb,
  poseDeviation,
  quaternionOfVector,
  type ScanData,
  type Vec3,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';

const TRUE_POSE: Pose = { rotation: quaternionOfVector([0.4, -1.1, 0.7]), translation: [1200, -300, 5000] };
const REFERENCE: Vec3 = [900, 100, 4700];

function cloud(places: readonly Vec3[]): ScanData {
  const positions = Float32Array.from(places.flat());
  return { origin: [0, 0, 0], positions, normals: null, colors: null, triangles: null, viewpoint: null };
}

const scan = cloud([
  [0, 0, 0],
  [1000, 0, 0],
  [0, 500, 200],
]);

function truthWith(pose: Pose): KnownTruth {
  return {
    frames: [
      { frame: 'a', jobFromFrame: IDENTITY_POSE, farPoint: [0, 0, 0], noise: 0.05 },
      { frame: 'b', jobFromFrame: pose, farPoint: [3000, 0, 0], noise: 0.07 },
    ],
    surface: null,
  };
}

function frame(name: string, pose: Pose | null, status: FramePose['status'], covariance: number[] | null): FramePose {
  return {
    frame: name,
    jobFromFrame: pose,
    covariance,
    covarianceReference: covariance ? REFERENCE : null,
    status,
    message: '',
    remedy: '',
    rivals: [],
  };
}

/** A full covariance with lever arms: diagonal of very different sizes, correlated. */
function exampleCovariance(): { covariance: number[]; factor: Float64Array } {
  const scales = [0.02, 0.05, 0.03, 1e-5, 4e-5, 2e-5];
  const covariance: number[] = [];
  for (let i = 0; i < 6; i++) {
    for (let j = 0; j < 6; j++) covariance.push(scales[i] * scales[j] * (i === j ? 1 : 0.3 * (-1) ** (i + j)));
  }
  return { covariance, factor: choleskyFactor(covariance, 6) as Float64Array };
}

describe('compareWithTruth', () => {
  it('finds back the perturbation it is given', () => {
    const motion = [0.3, -0.1, 0.2, 0.001, -0.002, 0.0005];
    const found = poseDeviation(perturb(TRUE_POSE, motion, REFERENCE), TRUE_POSE, REFERENCE);
    found.forEach((x, i) => {
      expect(Math.abs(x - motion[i])).toBeLessThan(1e-9);
    });
  });

  it('gives displacements in mm and degrees', () => {
    const shifted = {
      rotation: TRUE_POSE.rotation,
      translation: TRUE_POSE.translation.map((x) => x + 1) as unknown as Vec3,
    };
    const turned = perturb(TRUE_POSE, [0, 0, 0, 0, 0, 0.01], TRUE_POSE.translation);
    const compare = (pose: Pose | null) =>
      compareWithTruth(
        {
          frames: [frame('a', IDENTITY_POSE, 'fixed', null), frame('b', pose, pose ? 'adjusted' : 'refused', null)],
          scans: [{ frame: 'b', scan }],
          fused: null,
        },
        truthWith(TRUE_POSE),
      ).frames[1];
    expect(compare(shifted).rms).toBeCloseTo(Math.sqrt(3), 9);
    expect(compare(shifted).farPoint).toBeCloseTo(Math.sqrt(3), 9);
    expect(compare(turned).angleDeg).toBeCloseTo((0.01 * 180) / Math.PI, 9);
    expect(compare(null)).toMatchObject({ status: 'refused', rms: null, farPoint: null });
  });

  it('does not depend on which frame the job is in', () => {
    const jobFromTruth: Pose = { rotation: quaternionOfVector([2, 1, -0.3]), translation: [1e5, 3, -7] };
    const estimate = perturb(TRUE_POSE, [0.1, 0, 0, 0, 1e-4, 0], REFERENCE);
    const compare = (a: Pose, b: Pose) =>
      compareWithTruth(
        {
          frames: [frame('b', b, 'adjusted', null), frame('a', a, 'fixed', null)],
          scans: [{ frame: 'b', scan }],
          fused: null,
        },
        truthWith(TRUE_POSE),
      ).frames[0];
    const plain = compare(IDENTITY_POSE, estimate);
    const moved = compare(jobFromTruth, compose(jobFromTruth, estimate));
    expect(moved.rms).toBeCloseTo(plain.rms as number, 6);
    expect(moved.farPoint).toBeCloseTo(plain.farPoint as number, 6);
    expect(invert(invert(jobFromTruth)).translation[0]).toBeCloseTo(1e5, 6);
  });

  it('is one on average when poses scatter as their covariance says, and the far point stays within U', () => {
    const { covariance, factor } = exampleCovariance();
    const random = makeRandom(8, 'compare');
    const count = 3000;
    let squares = 0;
    let within = 0;
    for (let k = 0; k < count; k++) {
      const z = Array.from({ length: 6 }, () => random.normal());
      const motion = z.map((_, i) => z.slice(0, i + 1).reduce((sum, x, j) => sum + factor[6 * i + j] * x, 0));
      const result = compareWithTruth(
        {
          frames: [
            frame('a', IDENTITY_POSE, 'fixed', null),
            frame('b', perturb(TRUE_POSE, motion, REFERENCE), 'adjusted', covariance),
          ],
          scans: [],
          fused: null,
        },
        truthWith(TRUE_POSE),
      ).frames[1];
      squares += 6 * (result.normalized as number) ** 2;
      if ((result.farPointShare as number) <= 1) within++;
    }
    // Chi-square with six degrees of freedom: mean 6, variance 12.
    expect(Math.abs(squares / count - 6)).toBeLessThan(4 * Math.sqrt(12 / count));
    // Length of a 3-vector against twice its worst standard deviation: between the cases of three equal axes (0.738) and one (0.954).
    expect(within / count).toBeGreaterThan(0.73);
    expect(within / count).toBeLessThan(0.97);
  });
});

describe('compareSurfaceWithTruth', () => {
  const sheet = (z: (x: number, y: number) => number, origin: Vec3): ScanData => {
    const positions: number[] = [];
    const triangles: number[] = [];
    for (let j = 0; j <= 20; j++) {
      for (let i = 0; i <= 20; i++) positions.push(5 * i - origin[0], 5 * j - origin[1], z(5 * i, 5 * j) - origin[2]);
    }
    for (let j = 0; j < 20; j++) {
      for (let i = 0; i < 20; i++) {
        const a = 21 * j + i;
        triangles.push(a, a + 1, a + 22, a, a + 22, a + 21);
      }
    }
    const data = { normals: null, colors: null, viewpoint: null };
    return { origin, positions: Float32Array.from(positions), triangles: Uint32Array.from(triangles), ...data };
  };

  it('is positive outside, negative inside, and tells shares of the area', () => {
    const truth = sheet(() => 0, [50, 50, 0]);
    const above = compareSurfaceWithTruth(
      sheet(() => 0.1, [10, 0, -4]),
      truth,
      0.05,
    );
    expect(above.median).toBeCloseTo(0.1, 5);
    expect(above.within4Noise).toBe(1);
    const below = compareSurfaceWithTruth(
      sheet(() => -0.3, [10, 0, -4]),
      truth,
      0.05,
    );
    expect(below.median).toBeCloseTo(-0.3, 5);
    expect(below.medianAbsolute).toBeCloseTo(0.3, 5);
    expect(below.within4Noise).toBe(0);
    const step = compareSurfaceWithTruth(
      sheet((x) => (x < 52 ? 0 : 9), [0, 0, 0]),
      truth,
      0.05,
    );
    expect(step.beyondReach).toBeGreaterThan(0.4);
    expect(step.within4Noise).toBeLessThan(0.6);
  });

  it('refuses clouds', () => {
    expect(() => compareSurfaceWithTruth(scan, scan, 0.1)).toThrow(RangeError);
  });
});
