import { describe, expect, it } from 'vitest';
import {
  accumulatePlaneChunk,
  accumulatePointToPlane,
  addPlaneChunks,
  PLANE_SUM_CHUNK,
  PLANE_SUM_LENGTH,
  type PlanePairs,
} from '../../src/geometry/index.ts';
import {
  choleskyFactor,
  choleskySolve,
  dot,
  normalize,
  type Pose,
  perturb,
  quaternionOfVector,
  rotate,
  subtract,
  transformPoint,
  type Vec3,
} from '../../src/math/index.ts';
import { pseudoRandom } from './pseudo-random.ts';

const pose: Pose = { rotation: quaternionOfVector([0.1, -0.2, 0.3]), translation: [5, -3, 2] };
const reference: Vec3 = [1, 2, -1];

function makePairs(count: number, seed: number): Required<PlanePairs> {
  const random = pseudoRandom(seed);
  const vectors = (): Float32Array => Float32Array.from({ length: 3 * count }, () => 2 * random() - 1);
  const unit = (v: Float32Array): Float32Array => {
    for (let i = 0; i < v.length; i += 3) v.set(normalize([v[i], v[i + 1], v[i + 2]]), i);
    return v;
  };
  return {
    sourcePositions: vectors(),
    sourceNormals: unit(vectors()),
    targetPositions: vectors(),
    targetNormals: unit(vectors()),
    sourceIndex: Int32Array.from({ length: count }, (_, i) => i),
    targetIndex: Int32Array.from({ length: count }, (_, i) => (i % 11 === 3 ? -1 : (7 * i) % count)),
    weights: Float64Array.from({ length: count }, () => random()),
  };
}

const at = (v: Float32Array, i: number): Vec3 => [v[3 * i], v[3 * i + 1], v[3 * i + 2]];

/** The residual as the definition states it; the source's sign is chosen at the starting pose and kept. */
function residual(pairs: Required<PlanePairs>, i: number, moved: Pose, form: 'target' | 'symmetric'): number {
  const q = at(pairs.targetPositions, pairs.targetIndex[i]);
  const nq = at(pairs.targetNormals, pairs.targetIndex[i]);
  const p = transformPoint(moved, at(pairs.sourcePositions, i));
  if (form === 'target') return dot(nq, subtract(p, q));
  const sign = dot(nq, rotate(pose.rotation, at(pairs.sourceNormals, i))) < 0 ? -1 : 1;
  const np = rotate(moved.rotation, at(pairs.sourceNormals, i));
  const n: Vec3 = [0, 1, 2].map((axis) => (nq[axis] + sign * np[axis]) / 2) as unknown as Vec3;
  return dot(n, subtract(p, q));
}

describe.each(['target', 'symmetric'] as const)('sums of point-to-plane pairs, %s form', (form) => {
  it('agree with the derivative of the residual taken by differences', () => {
    const pairs = makePairs(300, 4);
    const sums = accumulatePointToPlane(pairs, pose, { reference, form });
    const matrix = new Float64Array(36);
    const gradient = new Float64Array(6);
    let weightSum = 0;
    let squareSum = 0;
    for (let i = 0; i < 300; i++) {
      if (pairs.targetIndex[i] < 0) continue;
      const h = 1e-5;
      const row = [0, 1, 2, 3, 4, 5].map((parameter) => {
        const step = (sign: number): number => {
          const motion = new Float64Array(6);
          motion[parameter] = sign * h;
          return residual(pairs, i, perturb(pose, motion, reference), form);
        };
        return (step(1) - step(-1)) / (2 * h);
      });
      const r = residual(pairs, i, pose, form);
      const w = pairs.weights[i];
      weightSum += w;
      squareSum += w * r * r;
      for (let a = 0; a < 6; a++) {
        gradient[a] += w * row[a] * r;
        for (let b = 0; b < 6; b++) matrix[6 * a + b] += w * row[a] * row[b];
      }
    }
    expect(sums.weightSum).toBeCloseTo(weightSum, 9);
    expect(sums.squareSum).toBeCloseTo(squareSum, 9);
    for (let i = 0; i < 36; i++) expect(sums.normalMatrix[i]).toBeCloseTo(matrix[i], 6);
    for (let i = 0; i < 6; i++) expect(sums.gradient[i]).toBeCloseTo(gradient[i], 6);
  });

  it('give the same bits when the chunks are summed by several workers', () => {
    const count = 3 * PLANE_SUM_CHUNK + 17;
    const pairs = makePairs(count, 5);
    const whole = accumulatePointToPlane(pairs, pose, { reference, form });
    const parts = new Float64Array(4 * PLANE_SUM_LENGTH);
    for (const chunk of [2, 0, 3, 1]) {
      const out = parts.subarray(chunk * PLANE_SUM_LENGTH, (chunk + 1) * PLANE_SUM_LENGTH);
      accumulatePlaneChunk(pairs, chunk, pose, { reference, form }, out);
    }
    expect(addPlaneChunks(parts)).toEqual(whole);
  });

  it('lead back to the pose that made the target', () => {
    // Points on a sphere with exact normals; the fit starts 0.02 off.
    const random = pseudoRandom(9);
    const count = 500;
    const source = new Float32Array(3 * count);
    const normals = new Float32Array(3 * count);
    const target = new Float32Array(3 * count);
    const targetNormals = new Float32Array(3 * count);
    for (let i = 0; i < count; i++) {
      const n = normalize([random() - 0.5, random() - 0.5, random() - 0.5]);
      const p: Vec3 = [3 * n[0], 2 * n[1], n[2]];
      const m = normalize([n[0] / 3, n[1] / 2, n[2]]);
      source.set(p, 3 * i);
      normals.set(m, 3 * i);
      target.set(transformPoint(pose, p), 3 * i);
      targetNormals.set(rotate(pose.rotation, m), 3 * i);
    }
    const index = Int32Array.from({ length: count }, (_, i) => i);
    const pairs: PlanePairs = {
      sourcePositions: source,
      sourceNormals: normals,
      targetPositions: target,
      targetNormals,
      sourceIndex: index,
      targetIndex: index,
    };
    let fit = perturb(pose, [0.02, -0.01, 0.02, 0.01, 0.02, -0.02], reference);
    for (let round = 0; round < 6; round++) {
      const { normalMatrix, gradient } = accumulatePointToPlane(pairs, fit, { reference, form });
      const factor = choleskyFactor(normalMatrix, 6);
      expect(factor).not.toBeNull();
      fit = perturb(
        fit,
        choleskySolve(factor as Float64Array, 6, gradient).map((v) => -v),
        reference,
      );
    }
    for (let i = 0; i < 3; i++) expect(fit.translation[i]).toBeCloseTo(pose.translation[i], 5);
    for (let i = 0; i < 4; i++) expect(fit.rotation[i]).toBeCloseTo(pose.rotation[i], 6);
  });
});

it('the symmetric form refuses a source without normals', () => {
  const { sourceNormals: _, ...pairs } = makePairs(10, 1);
  expect(() => accumulatePointToPlane(pairs, pose, { reference, form: 'symmetric' })).toThrow(RangeError);
});
