import {
  compose,
  invert,
  type Matrix3,
  multiplyMatrix3,
  multiplyMatrix3Vector,
  type Pose,
  rotationMatrix,
  subtract,
  transformPoint,
  transposeMatrix3,
  type Vec3,
  vectorOfQuaternion,
} from '../math/index.ts';
import { frameScale, IDENTITY_MATRIX3, type NetworkState, type PlainLink } from './linear-link.ts';
import type { NetworkModel } from './network-model.ts';
import { type FormLink, formOf } from './weigh-form.ts';

/** Writes factor * outer * d(rotation x arm) into rows 0 to 2, columns 3 to 5. */
function writeTurn(jacobian: Float64Array, arm: Vec3, outer: Matrix3, factor: number): void {
  // r x arm = -[arm]x r
  const skew: Matrix3 = [0, arm[2], -arm[1], -arm[2], 0, arm[0], arm[1], -arm[0], 0];
  writeBlock(jacobian, 0, 3, multiplyMatrix3(outer, skew), factor);
}

function writeBlock(jacobian: Float64Array, row: number, column: number, block: Matrix3, factor: number): void {
  for (let i = 0; i < 3; i++)
    for (let j = 0; j < 3; j++) jacobian[(row + i) * 6 + column + j] = factor * (block[3 * i + j] as number);
}

/** Inverse of the left Jacobian of the rotation vector: d(vector) = J^-1 d(left rotation) (Barfoot 2017, eq. 7.77). */
function inverseLeftJacobian(v: Vec3): Matrix3 {
  const angle = Math.hypot(v[0], v[1], v[2]);
  const skew: Matrix3 = [0, -v[2], v[1], v[2], 0, -v[0], -v[1], v[0], 0];
  const square = multiplyMatrix3(skew, skew);
  // (1 - (a/2) cot(a/2)) / a^2, by its series where the quotient loses digits.
  const factor =
    angle < 1e-3 ? 1 / 12 + (angle * angle) / 720 : (1 - angle / 2 / Math.tan(angle / 2)) / (angle * angle);
  return IDENTITY_MATRIX3.map(
    (one, i) => one - (skew[i] as number) / 2 + factor * (square[i] as number),
  ) as unknown as Matrix3;
}

/** The motion of the relative pose since the observation was made, about its reference. */
export function formMotion(relative: Pose, relative0: Pose, reference: Vec3): Float64Array {
  const off = compose(relative, invert(relative0));
  const moved = transformPoint(off, reference);
  const turn = vectorOfQuaternion(off.rotation);
  return Float64Array.from([moved[0] - reference[0], moved[1] - reference[1], moved[2] - reference[2], ...turn]);
}

/**
 * Linearises an overlap or a prior: misclosure is the motion since the form was measured, and for weighed overlaps the stretch.
 *
 * A frame that is stretched about its own centre moves the overlap's reference by a shift besides (see `WeighedOverlap`).
 */
export function lineariseForm(link: FormLink, model: NetworkModel, state: NetworkState): PlainLink {
  const form = formOf(link);
  const { size } = form;
  const { poses } = state;
  const a = poses[link.a] as Pose;
  const b = link.kind === 'overlap' ? (poses[link.b] as Pose) : null;
  const relative = b ? compose(invert(b), a) : a;
  const relative0 = link.kind === 'overlap' ? link.bFromA0 : link.jobFromFrame0;
  const { reference } = link;
  const motion = formMotion(relative, relative0, reference);
  const turn: Vec3 = [motion[3], motion[4], motion[5]];
  const place: Vec3 = [reference[0] + motion[0], reference[1] + motion[1], reference[2] + motion[2]];
  // Motions of frame a in the job, seen in frame b.
  const back = b ? transposeMatrix3(rotationMatrix(b.rotation)) : IDENTITY_MATRIX3;
  const atJob = b ? transformPoint(b, place) : place;
  const make = (frame: number, sign: number): Float64Array => {
    const jacobian = new Float64Array(6 * size);
    const radius = model.radii[frame] as number;
    writeBlock(jacobian, 0, 0, back, sign);
    writeTurn(jacobian, subtract(atJob, (poses[frame] as Pose).translation), back, sign / radius);
    writeBlock(jacobian, 3, 3, back, sign / radius);
    return jacobian;
  };
  const frames: [number, Float64Array][] = [[link.a, make(link.a, 1)]];
  const scales: [number, Float64Array][] = [];
  const misclosure = new Float64Array(size);
  misclosure.set(motion);
  let isStretched = false;
  if (link.kind === 'overlap') {
    frames.push([link.b, make(link.b, -1)]);
    const ofA = new Float64Array(size);
    const ofB = new Float64Array(size);
    // Centres: of A where it now lies in B; of B the origin of its centred coordinates.
    for (let k = 0; k < 3; k++) {
      ofA[k] = (relative.translation[k] as number) - (place[k] as number);
      ofB[k] = place[k] as number;
    }
    if (size === 7) {
      ofA[6] = -1;
      ofB[6] = 1;
      isStretched = model.terms.some((t) => t.isEstimated && t.coefficients[link.a] !== t.coefficients[link.b]);
    }
    scales.push([link.a, ofA], [link.b, ofB]);
    const [scaleA, scaleB] = [frameScale(model, state, link.a), frameScale(model, state, link.b)];
    for (let k = 0; k < size; k++) misclosure[k] += scaleA * ofA[k] + scaleB * ofB[k];
  }
  const slope = form.gradient.slice();
  let quadratic = 0;
  let linear = 0;
  for (let i = 0; i < size; i++) {
    let sum = 0;
    for (let j = 0; j < size; j++) sum += form.weight[size * i + j] * misclosure[j];
    slope[i] += sum;
    quadratic += misclosure[i] * sum;
    linear += misclosure[i] * form.gradient[i];
  }
  // The slope is exact. The Jacobian of the rotation vector is taken as one: what a surface leaves free (turning about its
  // normal) then stays exactly free, although the form was measured a small rotation away.
  const exact = inverseLeftJacobian(turn);
  slope.set(multiplyMatrix3Vector(transposeMatrix3(exact), [slope[3], slope[4], slope[5]]), 3);
  const least = isStretched ? form.leastStretched : form.least;
  return {
    size,
    misclosure,
    weight: form.weight,
    slope,
    frames,
    points: [],
    scales,
    weightedSumSquares: Math.max(0, quadratic + 2 * linear - least),
    rank: isStretched ? form.rankStretched : form.rank,
    angleCount: 0,
  };
}
