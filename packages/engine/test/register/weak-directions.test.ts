import { describe, expect, it } from 'vitest';
import { makeRandom } from '../../src/base/index.ts';
import { choleskyFactor, choleskyInverse, normalize, symmetricEigen, type Vec3 } from '../../src/math/index.ts';
import { analyseInformation } from '../../src/register/index.ts';
import { solveHeldMotion, sumObservations } from '../../src/register/motion-step.ts';
import { makeObservations, type Observations } from '../../src/register/plane-matching.ts';
import { randomDirection } from './sampled-shapes.ts';

function observationsOf(rows: readonly (readonly [Vec3, Vec3])[]): Observations {
  const observations = makeObservations(rows.length);
  observations.count = rows.length;
  rows.forEach(([p, n], i) => {
    observations.levers.set(p, 3 * i);
    observations.normals.set(n, 3 * i);
    observations.weights[i] = 1;
  });
  return observations;
}

const steps = (count: number, from: number, to: number): number[] =>
  Array.from({ length: count }, (_, i) => from + ((to - from) * i) / (count - 1));
const turns = (count: number): number[] => Array.from({ length: count }, (_, i) => (2 * Math.PI * i) / count);

function cube(): [Vec3, Vec3][] {
  const rows: [Vec3, Vec3][] = [];
  for (const axis of [0, 1, 2]) {
    for (const side of [-1, 1]) {
      for (const u of steps(5, -1, 1)) {
        for (const v of steps(5, -1, 1)) {
          const p = [u, u, u];
          p[axis] = side;
          p[(axis + 1) % 3] = u;
          p[(axis + 2) % 3] = v;
          const n = [0, 0, 0];
          n[axis] = side;
          rows.push([p as unknown as Vec3, n as unknown as Vec3]);
        }
      }
    }
  }
  return rows;
}

function plane(): [Vec3, Vec3][] {
  return steps(11, -1, 1).flatMap((x) =>
    steps(11, -1, 1).map((y): [Vec3, Vec3] => [
      [x, y, 0],
      [0, 0, 1],
    ]),
  );
}

function cylinder(): [Vec3, Vec3][] {
  return turns(36).flatMap((a) =>
    steps(9, -2, 2).map((z): [Vec3, Vec3] => [
      [Math.cos(a), Math.sin(a), z],
      [Math.cos(a), Math.sin(a), 0],
    ]),
  );
}

function torus(): [Vec3, Vec3][] {
  return turns(36).flatMap((a) =>
    turns(18).map((b): [Vec3, Vec3] => {
      const n: Vec3 = [Math.cos(a) * Math.cos(b), Math.sin(a) * Math.cos(b), Math.sin(b)];
      return [[3 * Math.cos(a) + n[0], 3 * Math.sin(a) + n[1], n[2]], n];
    }),
  );
}

function sphere(): [Vec3, Vec3][] {
  const random = makeRandom(1, 'sphere');
  return Array.from({ length: 300 }, () => {
    const n = randomDirection(random);
    return [n, n];
  });
}

function cone(): [Vec3, Vec3][] {
  return turns(36).flatMap((a) =>
    steps(9, 0.2, 2).map((z): [Vec3, Vec3] => {
      const n: Vec3 = normalize([Math.cos(a), Math.sin(a), 0.5]);
      return [[(2 - z) * 0.5 * Math.cos(a), (2 - z) * 0.5 * Math.sin(a), z], n];
    }),
  );
}

/** Sides of a prism over a triangle without symmetry. */
function extrusion(): [Vec3, Vec3][] {
  const corners: [number, number][] = [
    [0, 0],
    [3, 0.4],
    [1.1, 2],
  ];
  return corners.flatMap(([x, y], i) => {
    const [x2, y2] = corners[(i + 1) % 3];
    const n = normalize([y2 - y, x - x2, 0]);
    return steps(6, 0.05, 0.95).flatMap((s) =>
      steps(6, -1, 1).map((z): [Vec3, Vec3] => [[x + s * (x2 - x), y + s * (y2 - y), z], n]),
    );
  });
}

const eigenvaluesOf = (rows: readonly (readonly [Vec3, Vec3])[]): Float64Array =>
  symmetricEigen(sumObservations(observationsOf(rows)).information, 6).values;

describe('information of point-to-plane matches', () => {
  it('gives the eigenvalues of cube, plane, cylinder and torus [recomputed with numpy, rows (p x n, n)]', () => {
    const cases: [string, [Vec3, Vec3][], number[]][] = [
      ['cube', cube(), [50, 50, 50, 50, 50, 50]],
      ['plane', plane(), [0, 0, 0, 48.4, 48.4, 121]],
      ['cylinder', cylinder(), [0, 0, 162, 162, 270, 270]],
      ['torus', torus(), [0, 162, 162, 324, 1458, 1458]],
    ];
    for (const [name, rows, expected] of cases) {
      const values = eigenvaluesOf(rows);
      expected.forEach((value, i) => {
        expect(values[i], `${name} ${i}`).toBeCloseTo(value, 9);
      });
    }
  });

  it('finds the free directions of simple surfaces [Gelfand et al. 2003] and names them', () => {
    const cases: [string, [Vec3, Vec3][], number, RegExp[]][] = [
      ['sphere', sphere(), 3, [/^rotation about any axis through \(0\.0, 0\.0, 0\.0\) mm$/]],
      ['plane', plane(), 3, [/^shift in the plane across Z$/, /^rotation about Z through/]],
      ['cylinder', cylinder(), 2, [/^shift along Z$/, /^rotation about Z through \(0\.0, 0\.0, 0\.0\) mm$/]],
      ['cone', cone(), 1, [/^rotation about Z through \(0\.0, 0\.0, [-\d.]+\) mm$/]],
      ['torus', torus(), 1, [/^rotation about Z through \(0\.0, 0\.0, 0\.0\) mm$/]],
      ['extrusion', extrusion(), 1, [/^shift along Z$/]],
      ['cube', cube(), 0, []],
    ];
    for (const [name, rows, free, words] of cases) {
      const form = sumObservations(observationsOf(rows));
      const analysis = analyseInformation(form.information, form.weightSum, form.reference, form.radius, 0);
      expect(analysis.freeCount, name).toBe(free);
      expect(analysis.freeDirections.length, name).toBe(words.length);
      words.forEach((word, i) => {
        expect(analysis.freeDirections[i], name).toMatch(word);
      });
    }
  });

  it('names the same directions for the same shape in another unit and far from the origin', () => {
    for (const [unit, shift] of [
      [1, 0],
      [1000, 0],
      [1, 1e5],
    ]) {
      const rows = cylinder().map(([p, n]): [Vec3, Vec3] => [[p[0] * unit + shift, p[1] * unit, p[2] * unit], n]);
      const form = sumObservations(observationsOf(rows));
      const analysis = analyseInformation(form.information, form.weightSum, form.reference, form.radius, 0);
      expect(analysis.freeDirections).toEqual([
        'shift along Z',
        `rotation about Z through (${shift.toFixed(1)}, 0.0, 0.0) mm`,
      ]);
    }
  });

  it('takes noise of the normals for no hold: a plane with normals wrong by 0.02 rad still has three free directions', () => {
    const random = makeRandom(5, 'plane');
    const rows = plane().map(([p]): [Vec3, Vec3] => [
      p,
      normalize([0.02 * random.normal(), 0.02 * random.normal(), 1]),
    ]);
    const form = sumObservations(observationsOf(rows));
    const at = (u: number): number =>
      analyseInformation(form.information, form.weightSum, form.reference, form.radius, u).freeCount;
    expect(at(0)).toBe(0);
    expect(at(0.02)).toBe(3);
  });

  it('has sigma^2 / H as covariance on the cube: 0.0070711 for sigma 0.05 [recomputed], and in repeated trials', () => {
    const rows = cube();
    const observations = observationsOf(rows);
    const sigma = 0.05;
    const factor = choleskyFactor(sumObservations(observations).information, 6);
    const stated = choleskyInverse(factor ?? new Float64Array(36), 6).map((value) => value * sigma * sigma);
    for (let i = 0; i < 6; i++) expect(Math.sqrt(stated[7 * i])).toBeCloseTo(0.0070711, 7);
    const random = makeRandom(11, 'trials');
    const trials = 2000;
    const squares = new Float64Array(6);
    for (let t = 0; t < trials; t++) {
      for (let i = 0; i < rows.length; i++) observations.residuals[i] = sigma * random.normal();
      const { motion } = solveHeldMotion(sumObservations(observations), 0);
      for (let i = 0; i < 6; i++) squares[i] += motion[i] ** 2 / trials;
    }
    // Chi-square with 2000 degrees of freedom: 0.1 % bounds are 1 -+ 0.104.
    for (let i = 0; i < 6; i++) expect(Math.abs(squares[i] / stated[7 * i] - 1)).toBeLessThan(0.11);
  });
});
