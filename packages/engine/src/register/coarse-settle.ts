import { choleskyFactor, choleskySolve, perturb } from '../math/index.ts';
import type { CoarseLookup } from './coarse-lookup.ts';
import { lookUpNearest } from './coarse-lookup.ts';
import { composeMotions, invertMotion, type Motion, motionOfPose, poseOfMotion } from './coarse-motion.ts';
import type { CoarseSurface } from './coarse-surface.ts';

/** A pose settled on the samples, with how firmly the overlap holds it. */
export interface SettledMotion {
  readonly motion: Motion;
  /** Samples in the overlap at the end. */
  readonly matched: number;
  /** 6 x 6 information of the pose, unit weight, rotations about `center` scaled by `reach`; row-major. */
  readonly information: Float64Array;
  /** Centre of the overlap in the target frame, mm. */
  readonly center: readonly [number, number, number];
  /** Root mean square distance of the overlap from its centre, mm. */
  readonly reach: number;
}

/** A surface to settle on, with its place in the world frame. */
interface SettleTarget {
  readonly lookup: CoarseLookup;
  /** `worldFromTarget`; null where the target's frame is the world. */
  readonly motion: Motion | null;
}

/** How a pose is settled. */
export interface SettleOptions {
  /** First scale of the robust loss, mm. */
  readonly start: number;
  /** Last scale, mm. */
  readonly end: number;
  readonly rounds: number;
  /** Every stride-th sample only. */
  readonly stride: number;
  /** A direction of motion left alone: six numbers, unit length, rotations multiplied by `reach`, about `center`. */
  readonly held?: {
    readonly direction: ArrayLike<number>;
    readonly center: readonly [number, number, number];
    readonly reach: number;
  };
}

/**
 * Brings samples onto other surfaces, starting nearby.
 *
 * Frames   the motion is `worldFromSource`; with one target and no motion of its own, `targetFromSource`.
 * Method   point-to-plane Gauss-Newton with Tukey weights whose scale shrinks from `start` to `end` [Chen92, Tukey]; the
 *          partner comes from the table of nearest samples.
 *
 * @param begin where to start
 */
export function settleOnSamples(
  source: CoarseSurface,
  targets: readonly SettleTarget[],
  begin: Motion,
  options: SettleOptions,
): SettledMotion {
  const { start, end, rounds, stride, held } = options;
  let motion = begin;
  let result: SettledMotion | null = null;
  for (let round = 0; round < rounds; round++) {
    const scale = start * (end / start) ** (rounds > 1 ? round / (rounds - 1) : 1);
    const rows: number[] = [];
    for (const target of targets) collectRows(source, target, motion, scale, stride, rows);
    const matched = rows.length / 8;
    if (matched < 6) break;
    const center = centerOfRows(rows);
    let reach = 0;
    for (let k = 0; k < rows.length; k += 8) {
      reach += (rows[k] - center[0]) ** 2 + (rows[k + 1] - center[1]) ** 2 + (rows[k + 2] - center[2]) ** 2;
    }
    reach = Math.sqrt(reach / matched);
    if (!(reach > 0)) break;
    const a = new Float64Array(36);
    const b = new Float64Array(6);
    const row = new Float64Array(6);
    for (let k = 0; k < rows.length; k += 8) {
      const x = (rows[k] - center[0]) / reach;
      const y = (rows[k + 1] - center[1]) / reach;
      const z = (rows[k + 2] - center[2]) / reach;
      row[0] = rows[k + 3];
      row[1] = rows[k + 4];
      row[2] = rows[k + 5];
      row[3] = y * row[2] - z * row[1];
      row[4] = z * row[0] - x * row[2];
      row[5] = x * row[1] - y * row[0];
      const weight = rows[k + 7];
      for (let p = 0; p < 6; p++) {
        b[p] -= weight * row[p] * rows[k + 6];
        for (let q = 0; q <= p; q++) a[6 * p + q] += weight * row[p] * row[q];
      }
    }
    for (let p = 0; p < 6; p++) for (let q = 0; q < p; q++) a[6 * q + p] = a[6 * p + q];
    result = { motion, matched, information: Float64Array.from(a), center, reach };
    // A little stiffness keeps directions that nothing holds from running away.
    for (let p = 0; p < 6; p++) a[7 * p] += 1e-3 * matched;
    if (held !== undefined) holdDirection(a, held, center, reach, matched);
    const factor = choleskyFactor(a, 6);
    if (factor === null) break;
    const step = choleskySolve(factor, 6, b);
    for (let p = 3; p < 6; p++) step[p] /= reach;
    motion = motionOfPose(perturb(poseOfMotion(motion), step, center));
  }
  return {
    motion,
    matched: result?.matched ?? 0,
    information: result?.information ?? new Float64Array(36),
    center: result?.center ?? [0, 0, 0],
    reach: result?.reach ?? 0,
  };
}

/** Adds x y z, normal, residual and weight of every sample that has a partner. */
function collectRows(
  source: CoarseSurface,
  target: SettleTarget,
  worldFromSource: Motion,
  scale: number,
  stride: number,
  rows: number[],
): void {
  const world = target.motion;
  const m = world === null ? worldFromSource : composeMotions(invertMotion(world), worldFromSource);
  const { positions, normals, count } = source;
  const other = target.lookup.surface;
  for (let i = 0; i < count; i += stride) {
    const px = positions[3 * i];
    const py = positions[3 * i + 1];
    const pz = positions[3 * i + 2];
    const x = m[0] * px + m[1] * py + m[2] * pz + m[3];
    const y = m[4] * px + m[5] * py + m[6] * pz + m[7];
    const z = m[8] * px + m[9] * py + m[10] * pz + m[11];
    const j = lookUpNearest(target.lookup, x, y, z);
    if (j < 0) continue;
    const nx = normals[3 * i];
    const ny = normals[3 * i + 1];
    const nz = normals[3 * i + 2];
    const sx = m[0] * nx + m[1] * ny + m[2] * nz;
    const sy = m[4] * nx + m[5] * ny + m[6] * nz;
    const sz = m[8] * nx + m[9] * ny + m[10] * nz;
    const tx = other.normals[3 * j];
    const ty = other.normals[3 * j + 1];
    const tz = other.normals[3 * j + 2];
    const facing = sx * tx + sy * ty + sz * tz;
    if (facing < 0.7) continue;
    const dx = x - other.positions[3 * j];
    const dy = y - other.positions[3 * j + 1];
    const dz = z - other.positions[3 * j + 2];
    const along = dx * tx + dy * ty + dz * tz;
    const across2 = dx * dx + dy * dy + dz * dz - along * along;
    if (across2 > (other.edge[j] === 1 ? 0.64 : 2.25) * other.spacing ** 2) continue;
    // Half of both normals: exact for two circular arcs that are not yet parallel [Rusinkiewicz19].
    const length = Math.sqrt(2 + 2 * facing);
    const ax = (sx + tx) / length;
    const ay = (sy + ty) / length;
    const az = (sz + tz) / length;
    const residual = dx * ax + dy * ay + dz * az;
    const ratio = residual / scale;
    if (Math.abs(ratio) >= 1) continue;
    const weight = (1 - ratio * ratio) ** 2;
    if (world === null) rows.push(x, y, z, ax, ay, az, residual, weight);
    else {
      rows.push(
        world[0] * x + world[1] * y + world[2] * z + world[3],
        world[4] * x + world[5] * y + world[6] * z + world[7],
        world[8] * x + world[9] * y + world[10] * z + world[11],
        world[0] * ax + world[1] * ay + world[2] * az,
        world[4] * ax + world[5] * ay + world[6] * az,
        world[8] * ax + world[9] * ay + world[10] * az,
        residual,
        weight,
      );
    }
  }
}

function centerOfRows(rows: readonly number[]): [number, number, number] {
  const center: [number, number, number] = [0, 0, 0];
  for (let k = 0; k < rows.length; k += 8) for (let i = 0; i < 3; i++) center[i] += rows[k + i];
  for (let i = 0; i < 3; i++) center[i] /= rows.length / 8;
  return center;
}

/** Makes one direction of motion stiff. */
function holdDirection(
  a: Float64Array,
  held: NonNullable<SettleOptions['held']>,
  center: readonly [number, number, number],
  reach: number,
  matched: number,
): void {
  const d = held.direction;
  // The same motion about the present centre, in its own scale.
  const turn = [3, 4, 5].map((k) => (d[k] as number) / held.reach);
  const arm = [0, 1, 2].map((k) => center[k] - held.center[k]);
  const e = [
    (d[0] as number) + turn[1] * arm[2] - turn[2] * arm[1],
    (d[1] as number) + turn[2] * arm[0] - turn[0] * arm[2],
    (d[2] as number) + turn[0] * arm[1] - turn[1] * arm[0],
    turn[0] * reach,
    turn[1] * reach,
    turn[2] * reach,
  ];
  const length = Math.hypot(...e);
  for (let p = 0; p < 6; p++) for (let q = 0; q < 6; q++) a[6 * p + q] += (1e3 * matched * e[p] * e[q]) / length ** 2;
}
