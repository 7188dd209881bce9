import {
  compose,
  IDENTITY_POSE,
  invert,
  makeRandom,
  multiplyQuaternions,
  normalizeQuaternion,
  type Pose,
  perturb,
  poseFromMatrix16,
  poseToMatrix16,
  type Quaternion,
  quaternionOfMatrix,
  quaternionOfVector,
  rotate,
  rotationAngle,
  rotationMatrix,
  transformPoint,
  type Vec3,
  vectorOfQuaternion,
} from '@lapjoint/engine';
import { Matrix } from 'ml-matrix';
import { describe, expect, it } from 'vitest';

function near(actual: ArrayLike<number>, expected: ArrayLike<number>, tolerance: number): void {
  expect(actual.length).toBe(expected.length);
  for (let i = 0; i < actual.length; i++) {
    expect(
      Math.abs((actual[i] as number) - (expected[i] as number)),
      `${i}: ${actual[i]} ${expected[i]}`,
    ).toBeLessThanOrEqual(tolerance);
  }
}

const random = makeRandom(2, 'pose');
const vector = (size: number): Vec3 => [random.normal() * size, random.normal() * size, random.normal() * size];
const pose = (): Pose => ({ rotation: quaternionOfVector(vector(2)), translation: vector(1000) });
const matrixOf = (p: Pose): Matrix => {
  const m = poseToMatrix16(p);
  return new Matrix([m.slice(0, 4), m.slice(4, 8), m.slice(8, 12), m.slice(12, 16)]);
};

describe('pose', () => {
  it('composes and inverts as 4 x 4 matrices do', () => {
    for (let i = 0; i < 100; i++) {
      const a = pose();
      const b = pose();
      near(matrixOf(compose(a, b)).to1DArray(), matrixOf(a).mmul(matrixOf(b)).to1DArray(), 1e-10);
      near(matrixOf(compose(a, invert(a))).to1DArray(), Matrix.eye(4).to1DArray(), 1e-11);
      const p = vector(500);
      const moved = matrixOf(a)
        .mmul(Matrix.columnVector([...p, 1]))
        .to1DArray();
      near(transformPoint(a, p), moved.slice(0, 3), 1e-10);
      near(transformPoint(invert(a), transformPoint(a, p)), p, 1e-10);
    }
    near(transformPoint(IDENTITY_POSE, [1, 2, 3]), [1, 2, 3], 0);
  });

  it('turns by the published formula of Rodrigues, also for tiny and half turns', () => {
    for (const angle of [0, 1e-12, 1e-6, 0.9e-4, 1.1e-4, 0.3, 2, Math.PI - 1e-9, Math.PI]) {
      const axis = [2 / 3, -1 / 3, 2 / 3] as const;
      const q = quaternionOfVector([axis[0] * angle, axis[1] * angle, axis[2] * angle]);
      const p = vector(10);
      const along = axis[0] * p[0] + axis[1] * p[1] + axis[2] * p[2];
      const cross = [axis[1] * p[2] - axis[2] * p[1], axis[2] * p[0] - axis[0] * p[2], axis[0] * p[1] - axis[1] * p[0]];
      const expected = p.map(
        (value, k) =>
          value * Math.cos(angle) +
          (cross[k] as number) * Math.sin(angle) +
          (axis[k] as number) * along * (1 - Math.cos(angle)),
      );
      near(rotate(q, p), expected, 1e-13);
      expect(Math.abs(rotationAngle(q) - angle)).toBeLessThanOrEqual(1e-15 + 1e-14 * angle + (angle > 3 ? 1e-8 : 0));
      const back = vectorOfQuaternion(q);
      near(rotate(quaternionOfVector(back), p), rotate(q, p), 1e-13);
    }
  });

  it('quaternion of a matrix and back, for every branch', () => {
    for (let i = 0; i < 200; i++) {
      const q = quaternionOfVector(vector(3));
      near(quaternionOfMatrix(rotationMatrix(q)), q, 1e-12);
    }
    for (const q of [
      [0, 1, 0, 0],
      [0, 0, 1, 0],
      [0, 0, 0, 1],
    ] as Quaternion[]) {
      near(rotationMatrix(quaternionOfMatrix(rotationMatrix(q))), rotationMatrix(q), 1e-15);
    }
    near(multiplyQuaternions([0, 1, 0, 0], [0, 0, 1, 0]), [0, 0, 0, 1], 0);
    expect(() => normalizeQuaternion([0, 0, 0, 0])).toThrow(RangeError);
  });

  it('a perturbation moves a point p to c + R (p - c) + t', () => {
    for (let i = 0; i < 50; i++) {
      const p = pose();
      const c = vector(1000);
      const motion = [...vector(5), ...vector(0.2)];
      const x = vector(300);
      const before = transformPoint(p, x);
      const arm = rotate(quaternionOfVector([motion[3]!, motion[4]!, motion[5]!]), [
        before[0] - c[0],
        before[1] - c[1],
        before[2] - c[2],
      ]);
      near(
        transformPoint(perturb(p, motion, c), x),
        [0, 1, 2].map((k) => c[k]! + arm[k]! + motion[k]!),
        1e-10,
      );
    }
  });

  it('sixteen numbers there and back; mirrored, sheared and projective ones are refused', () => {
    const p = pose();
    const m = poseToMatrix16(p);
    near(poseToMatrix16(poseFromMatrix16(m)), m, 1e-12);
    const changed = (index: number, value: number): number[] => m.map((x, i) => (i === index ? value : x));
    expect(() => poseFromMatrix16(m.map((x, i) => (i < 12 && i % 4 < 3 ? -x : x)))).toThrow('mirrors');
    expect(() => poseFromMatrix16(m.map((x, i) => (i < 12 && i % 4 < 3 ? 2 * x : x)))).toThrow(RangeError);
    expect(() => poseFromMatrix16(changed(12, 0.1))).toThrow(RangeError);
    expect(() => poseFromMatrix16(changed(0, Number.NaN))).toThrow(RangeError);
  });
});
