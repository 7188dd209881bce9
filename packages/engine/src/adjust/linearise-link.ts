import {
  compose,
  invert,
  type Matrix3,
  multiplyMatrix3,
  multiplyMatrix3Vector,
  type Pose,
  rotate,
  rotationMatrix,
  subtract,
  symmetricEigen,
  transformPoint,
  transposeMatrix3,
  type Vec3,
  vectorOfQuaternion,
} from '../math/index.ts';
import { type NetworkLink, overlapArm } from './network-model.ts';

/**
 * A link at the present poses: misclosure e of `size` numbers with weight matrix W, and how e changes with the motions.
 *
 * Motions are those of the centred frames: tx ty tz, and rotations as lengths at the frame's radius. The cost is
 * e^T W e + 2 g^T e, with e measured from where the observation was made.
 */
export interface LinearLink {
  readonly size: 3 | 6;
  readonly misclosure: Float64Array;
  /** size x size. */
  readonly weight: Float64Array;
  /** Half the slope of the cost in the terms of the Jacobians: W e + g, turned to small motions at the present pose. */
  readonly slope: Float64Array;
  /** size x 6 for frame a, and for frame b (null for a prior). */
  readonly jacobianA: Float64Array;
  readonly jacobianB: Float64Array | null;
  /** Its share of vPv: cost above the least value it can take. */
  readonly weightedSumSquares: number;
  /** Independent numbers observed: 3, or the rank of the information. */
  readonly rank: number;
}

const at = (m: Matrix3, i: number): number => m[i] as number;

/** Writes [v]x columns: d(rotation vector) -> r x v, times a factor, into rows `row..row+2`, columns 3..5. */
function writeTurn(jacobian: Float64Array, row: number, arm: Vec3, outer: Matrix3, factor: number): void {
  // r x arm = -[arm]x r
  const skew: Matrix3 = [0, arm[2], -arm[1], -arm[2], 0, arm[0], arm[1], -arm[0], 0];
  const product = multiplyMatrix3(outer, skew);
  for (let i = 0; i < 3; i++)
    for (let j = 0; j < 3; j++) jacobian[(row + i) * 6 + 3 + j] = factor * at(product, 3 * i + j);
}

function writeBlock(jacobian: Float64Array, row: number, column: number, block: Matrix3, factor: number): void {
  for (let i = 0; i < 3; i++)
    for (let j = 0; j < 3; j++) jacobian[(row + i) * 6 + column + j] = factor * at(block, 3 * i + j);
}

const IDENTITY: Matrix3 = [1, 0, 0, 0, 1, 0, 0, 0, 1];

/** Inverse of the left Jacobian of the rotation vector: d(vector) = J^-1 d(left rotation) (Barfoot 2017, eq. 7.77). */
function inverseLeftJacobian(v: Vec3): Matrix3 {
  const angle = Math.hypot(v[0], v[1], v[2]);
  const skew: Matrix3 = [0, -v[2], v[1], v[2], 0, -v[0], -v[1], v[0], 0];
  const square = multiplyMatrix3(skew, skew);
  // (1 - (a/2) cot(a/2)) / a^2, by its series where the quotient loses digits.
  const factor =
    angle < 1e-3 ? 1 / 12 + (angle * angle) / 720 : (1 - angle / 2 / Math.tan(angle / 2)) / (angle * angle);
  return IDENTITY.map((one, i) => one - at(skew, i) / 2 + factor * at(square, i)) as unknown as Matrix3;
}

/** Linearises a link at the poses of the centred frames. */
export function lineariseLink(link: NetworkLink, poses: readonly Pose[], radii: readonly number[]): LinearLink {
  if (link.kind === 'pair') return linearisePair(link, poses, radii);
  return lineariseForm(link, poses, radii);
}

function linearisePair(
  link: NetworkLink & { kind: 'pair' },
  poses: readonly Pose[],
  radii: readonly number[],
): LinearLink {
  const [a, b] = [poses[link.a] as Pose, poses[link.b] as Pose];
  const [armA, armB] = [rotate(a.rotation, link.pointA), rotate(b.rotation, link.pointB)];
  const shift = subtract(a.translation, b.translation);
  const misclosure = Float64Array.from(
    [0, 1, 2],
    (k) => (shift[k] as number) + (armA[k] as number) - (armB[k] as number),
  );
  const w = 1 / (link.source.sigma * link.source.sigma);
  const jacobianA = new Float64Array(18);
  const jacobianB = new Float64Array(18);
  writeBlock(jacobianA, 0, 0, IDENTITY, 1);
  writeTurn(jacobianA, 0, armA, IDENTITY, 1 / (radii[link.a] as number));
  writeBlock(jacobianB, 0, 0, IDENTITY, -1);
  writeTurn(jacobianB, 0, armB, IDENTITY, -1 / (radii[link.b] as number));
  return {
    size: 3,
    misclosure,
    weight: Float64Array.from([w, 0, 0, 0, w, 0, 0, 0, w]),
    slope: misclosure.map((e) => w * e),
    jacobianA,
    jacobianB,
    weightedSumSquares: w * (misclosure[0] ** 2 + misclosure[1] ** 2 + misclosure[2] ** 2),
    rank: 3,
  };
}

/** What an overlap or a prior is, apart from the poses: its form in weights of one. */
export interface WeightedForm {
  readonly weight: Float64Array;
  readonly gradient: Float64Array;
  /** Least value of e^T W e + 2 g^T e, negative or zero. */
  readonly least: number;
  /** Where it is taken. */
  readonly best: Float64Array;
  readonly rank: number;
}

/** Directions of an observed form below this share of its strongest one are rounding of the sums that made it. */
const FORM_TOLERANCE = 1e-11;

/**
 * Weight of an overlap: as many independent distances as it has patches, each with the larger of the expected and the
 * found standard deviation.
 */
export function weighForm(link: NetworkLink & { kind: 'overlap' | 'prior' }): WeightedForm {
  const information = link.source.information;
  const gradient = link.kind === 'overlap' ? link.source.gradient : [0, 0, 0, 0, 0, 0];
  const arm = link.kind === 'overlap' ? overlapArm(link.source) || 1 : priorArm(information);
  // One unit for the eigenvalues: rotations as lengths at the arm.
  const unit = [1, 1, 1, arm, arm, arm];
  const scaled = Array.from(
    { length: 36 },
    (_, k) => (information[k] as number) / ((unit[Math.floor(k / 6)] as number) * (unit[k % 6] as number)),
  );
  const { values, vectors } = symmetricEigen(scaled, 6);
  const largest = values[5];
  const clean = new Float64Array(36);
  const cleanGradient = new Float64Array(6);
  const best = new Float64Array(6);
  let least = 0;
  let rank = 0;
  for (let e = 0; e < 6; e++) {
    const value = values[e];
    if (!(value > FORM_TOLERANCE * largest)) continue;
    rank++;
    let along = 0;
    for (let i = 0; i < 6; i++) along += (vectors[6 * i + e] * (gradient[i] as number)) / (unit[i] as number);
    least -= (along * along) / value;
    for (let i = 0; i < 6; i++) {
      const vi = vectors[6 * i + e];
      best[i] -= ((along / value) * vi) / (unit[i] as number);
      cleanGradient[i] += along * vi * (unit[i] as number);
      for (let j = 0; j < 6; j++)
        clean[6 * i + j] += value * vi * vectors[6 * j + e] * (unit[i] as number) * (unit[j] as number);
    }
  }
  let factor = 1;
  if (link.kind === 'overlap') {
    const o = link.source;
    const found = Math.max(0, o.sumSquares + least) / o.count;
    factor = Math.min(o.effectiveCount, o.count) / (o.count * Math.max(o.sigma * o.sigma, found));
  }
  return {
    weight: clean.map((v) => v * factor),
    gradient: cleanGradient.map((v) => v * factor),
    least: least * factor,
    best,
    rank,
  };
}

function priorArm(information: readonly number[]): number {
  const shift = (information[0] as number) + (information[7] as number) + (information[14] as number);
  const turn = (information[21] as number) + (information[28] as number) + (information[35] as number);
  return shift > 0 && turn > 0 ? Math.sqrt(turn / shift) : 1;
}

const forms = new WeakMap<object, WeightedForm>();

function formOf(link: NetworkLink & { kind: 'overlap' | 'prior' }): WeightedForm {
  let form = forms.get(link);
  if (!form) {
    form = weighForm(link);
    forms.set(link, form);
  }
  return form;
}

/** The motion of the relative pose since the observation was made, about its reference. */
export function formMotion(relative: Pose, relative0: Pose, reference: Vec3): Float64Array {
  const off = compose(relative, invert(relative0));
  const moved = transformPoint(off, reference);
  const turn = vectorOfQuaternion(off.rotation);
  return Float64Array.from([moved[0] - reference[0], moved[1] - reference[1], moved[2] - reference[2], ...turn]);
}

function lineariseForm(
  link: NetworkLink & { kind: 'overlap' | 'prior' },
  poses: readonly Pose[],
  radii: readonly number[],
): LinearLink {
  const form = formOf(link);
  const a = poses[link.a] as Pose;
  const b = link.kind === 'overlap' ? (poses[link.b] as Pose) : null;
  const relative = b ? compose(invert(b), a) : a;
  const relative0 = link.kind === 'overlap' ? link.bFromA0 : link.jobFromFrame0;
  const { reference } = link;
  const misclosure = formMotion(relative, relative0, reference);
  const turn: Vec3 = [misclosure[3], misclosure[4], misclosure[5]];
  const place: Vec3 = [reference[0] + misclosure[0], reference[1] + misclosure[1], reference[2] + misclosure[2]];
  // Motions of frame a in the job, seen in frame b.
  const back = b ? transposeMatrix3(rotationMatrix(b.rotation)) : IDENTITY;
  const atJob = b ? transformPoint(b, place) : place;
  const make = (frame: number, sign: number): Float64Array => {
    const jacobian = new Float64Array(36);
    const radius = radii[frame] as number;
    writeBlock(jacobian, 0, 0, back, sign);
    writeTurn(jacobian, 0, subtract(atJob, (poses[frame] as Pose).translation), back, sign / radius);
    writeBlock(jacobian, 3, 3, back, sign / radius);
    return jacobian;
  };
  const slope = form.gradient.slice();
  let quadratic = 0;
  let linear = 0;
  for (let i = 0; i < 6; i++) {
    let sum = 0;
    for (let j = 0; j < 6; j++) sum += form.weight[6 * i + j] * misclosure[j];
    slope[i] += sum;
    quadratic += misclosure[i] * sum;
    linear += misclosure[i] * form.gradient[i];
  }
  // The slope is exact. The Jacobian of the rotation vector is taken as one: what a surface leaves free (turning about its
  // normal) then stays exactly free, although the form was measured a small rotation away.
  const exact = inverseLeftJacobian(turn);
  const slopeTurn = multiplyMatrix3Vector(transposeMatrix3(exact), [slope[3], slope[4], slope[5]]);
  slope.set(slopeTurn, 3);
  return {
    size: 6,
    misclosure,
    weight: form.weight,
    slope,
    jacobianA: make(link.a, 1),
    jacobianB: link.kind === 'overlap' ? make(link.b, -1) : null,
    weightedSumSquares: Math.max(0, quadratic + 2 * linear - form.least),
    rank: form.rank,
  };
}
