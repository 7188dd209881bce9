import { add, cross, dot, norm, normalize, scale, symmetricEigen, type Vec3 } from '../math/index.ts';

/** What a set of matches says about the six ways in which two scans can still move. */
export interface InformationAnalysis {
  /** Eigenvalues of the information divided by the sum of weights, ascending, rotations in units of 1 / radius: 1 is as good as it gets. */
  readonly values: Float64Array;
  /** Unit eigenvectors in columns, 6 x 6 row-major, order tx ty tz rx ry rz with rotations multiplied by radius. */
  readonly vectors: Float64Array;
  /** How many of the smallest are not held at all: below what noise in the normals alone would show. */
  readonly freeCount: number;
  /** How many are held badly or not at all. Not less than `freeCount`. */
  readonly weakCount: number;
  /** In words, the directions that nothing holds. */
  readonly freeDirections: readonly string[];
  /** In words, the directions that are held only weakly. */
  readonly weakDirections: readonly string[];
}

/** Smallest eigenvalue that counts as rounding, relative to the largest. */
const ROUNDING = 1e-9;
/** A direction held a hundred times worse (in standard deviation: ten times) than the best is called weak. */
const WEAK_RATIO = 0.01;

/**
 * Analyses the information of point-to-plane matches.
 *
 * Method   eigenvalues of the 6 x 6 with rotations scaled by the radius, so that they compare with translations
 *          (Gelfand, Ikemoto, Rusinkiewicz & Levoy 2003); directions below a limit are left out of the solution
 *          (Zhang, Kaess & Singh 2016). The limit comes from the data: matches of a plane with normals wrong by u seem to
 *          hold a shift in the plane with u^2 per match.
 *
 * @param information sum of w J J^T, order tx ty tz rx ry rz, mm and rad, at `reference`
 * @param weightSum sum of w
 * @param reference point at which the rotations are taken, mm, in the frame the words shall speak of
 * @param radius root mean square distance of the matches from the reference, mm
 * @param normalNoise standard deviation of the normals used, rad, each of two components
 */
export function analyseInformation(
  information: ArrayLike<number>,
  weightSum: number,
  reference: Vec3,
  radius: number,
  normalNoise: number,
): InformationAnalysis {
  const scaled = new Float64Array(36);
  for (let i = 0; i < 6; i++) {
    for (let j = 0; j < 6; j++) {
      const factor = (i < 3 ? 1 : radius) * (j < 3 ? 1 : radius);
      scaled[6 * i + j] = weightSum > 0 && factor > 0 ? (information[6 * i + j] as number) / (factor * weightSum) : 0;
    }
  }
  const { values, vectors } = symmetricEigen(scaled, 6);
  const freeLimit = Math.max(ROUNDING * values[5], 3 * normalNoise * normalNoise);
  let freeCount = 0;
  while (freeCount < 6 && !(values[freeCount] > freeLimit)) freeCount++;
  let weakCount = freeCount;
  while (weakCount < 6 && values[weakCount] < Math.max(WEAK_RATIO * values[5], 2 * freeLimit)) weakCount++;
  const columns = Array.from({ length: 6 }, (_, k) => Array.from({ length: 6 }, (_, i) => vectors[6 * i + k]));
  return {
    values,
    vectors,
    freeCount,
    weakCount,
    freeDirections: nameDirections(columns.slice(0, freeCount), reference, radius),
    weakDirections: nameDirections(columns.slice(freeCount, weakCount), reference, radius),
  };
}

/**
 * Says in words what motions a subspace of six-vectors holds: pure shifts first, then rotations with their axes.
 *
 * @param basis orthonormal, rotations multiplied by radius
 */
export function nameDirections(basis: readonly number[][], reference: Vec3, radius: number): string[] {
  const m = basis.length;
  if (m === 0) return [];
  // Combinations without rotation: small eigenvalues of the rotation part of the basis.
  const gram = new Float64Array(m * m);
  basis.forEach((a, i) => {
    basis.forEach((b, j) => {
      gram[i * m + j] = a[3] * b[3] + a[4] * b[4] + a[5] * b[5];
    });
  });
  const { values, vectors } = symmetricEigen(gram, m);
  const shifts: Vec3[] = [];
  const turns: { axis: Vec3; shift: Vec3 }[] = [];
  for (let k = 0; k < m; k++) {
    const v = [0, 0, 0, 0, 0, 0];
    for (let i = 0; i < 6; i++) for (let b = 0; b < m; b++) v[i] += vectors[b * m + k] * basis[b][i];
    if (values[k] < 0.05) shifts.push([v[0], v[1], v[2]]);
    else turns.push({ axis: scale([v[3], v[4], v[5]], 1 / radius), shift: [v[0], v[1], v[2]] });
  }
  const words: string[] = [];
  if (shifts.length === 3) words.push('shift in any direction');
  if (shifts.length === 2) words.push(`shift in the plane across ${nameAxis(cross(shifts[0], shifts[1]))}`);
  if (shifts.length === 1) words.push(`shift along ${nameAxis(shifts[0])}`);
  const axes = turns.map(({ axis, shift }) => {
    const length2 = dot(axis, axis);
    let along = scale(axis, dot(shift, axis) / length2);
    // A slide along the axis that is free by itself is not part of the turn.
    for (const free of shifts) {
      const unit = normalize(free);
      along = add(along, scale(unit, -dot(along, unit)));
    }
    const point = add(reference, scale(cross(axis, shift), 1 / length2));
    const pitch = norm(along) / Math.sqrt(length2);
    return { axis, point, isScrew: pitch > 0.3 * radius };
  });
  if (axes.length === 3) {
    words.push(`rotation about any axis through ${namePoint(axes[0].point)}`);
  } else {
    for (const { axis, point, isScrew } of axes) {
      words.push(`${isScrew ? 'screw motion' : 'rotation'} about ${nameAxis(axis)} through ${namePoint(point)}`);
    }
  }
  return words;
}

function nameAxis(direction: Vec3): string {
  const unit = normalize(direction);
  const names = ['X', 'Y', 'Z'];
  const largest = [0, 1, 2].reduce((best, i) => (Math.abs(unit[i]) > Math.abs(unit[best]) ? i : best), 0);
  if (Math.abs(unit[largest]) > 0.9995) return names[largest];
  const sign = unit[largest] < 0 ? -1 : 1;
  return `(${unit.map((value) => plain(value * sign, 3)).join(', ')})`;
}

function namePoint(point: Vec3): string {
  return `(${point.map((value) => plain(value, 1)).join(', ')}) mm`;
}

function plain(value: number, digits: number): string {
  const text = value.toFixed(digits);
  return Number(text) === 0 ? (0).toFixed(digits) : text;
}
