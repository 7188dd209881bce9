import { type CoarseLookup, lookUpNearest } from './coarse-lookup.ts';
import type { Motion } from './coarse-motion.ts';
import type { CoarseSurface } from './coarse-surface.ts';
import { type FreeSpaceMap, freeSpaceDepth } from './free-space-map.ts';

/** What the samples of one scan say about a pose, looked at against the other scan. Counts of samples. */
export interface OneSidedEvidence {
  readonly samples: number;
  /** On the other surface, facing the same way. */
  readonly agree: number;
  /** Close to the inside of the other surface and yet off it, or turned against it. */
  readonly off: number;
  /** Between the other scan's instrument and what it saw. */
  readonly inFront: number;
  /** Agreeing samples, those of one plane saturated: any flat face can be laid on any other. */
  readonly weighted: number;
  /** Root mean square distance of the agreeing samples from the other surface, mm. */
  readonly rms: number;
}

/** Limits of agreement, mm. */
interface EvidenceTolerance {
  readonly agree: number;
  readonly free: number;
}

/** Nothing can be said: no surface near, or hidden from the other instrument. */
const SAMPLE_UNKNOWN = 0;
/** Near the surface but not on it, or facing another way. */
const SAMPLE_OFF = 1;
/** On the surface. */
const SAMPLE_AGREES = 2;
/** In space that the other instrument saw to be empty. */
const SAMPLE_IN_FRONT = 3;

/**
 * Judges every sample of a scan against another scan.
 *
 * Frames   `targetFromSource` between the scans' own float32 frames.
 *
 * @param stride every stride-th sample only; the others stay unknown
 * @param states one state a sample; a state already there is kept when it says more (in front before agreeing before off)
 * @returns sum of the squared distances of the agreeing samples, mm^2
 */
export function judgeSamples(
  source: CoarseSurface,
  targetFromSource: Motion,
  target: CoarseLookup,
  free: FreeSpaceMap | null,
  tolerance: EvidenceTolerance,
  stride: number,
  states: Uint8Array,
): number {
  const m = targetFromSource;
  const { positions, normals, count } = source;
  const other = target.surface;
  let sum = 0;
  for (let i = 0; i < count; i += stride) {
    const px = positions[3 * i];
    const py = positions[3 * i + 1];
    const pz = positions[3 * i + 2];
    const x = m[0] * px + m[1] * py + m[2] * pz + m[3];
    const y = m[4] * px + m[5] * py + m[6] * pz + m[7];
    const z = m[8] * px + m[9] * py + m[10] * pz + m[11];
    const j = lookUpNearest(target, x, y, z);
    let state = SAMPLE_UNKNOWN;
    if (j >= 0) {
      const nx = normals[3 * i];
      const ny = normals[3 * i + 1];
      const nz = normals[3 * i + 2];
      const tx = other.normals[3 * j];
      const ty = other.normals[3 * j + 1];
      const tz = other.normals[3 * j + 2];
      const facing =
        tx * (m[0] * nx + m[1] * ny + m[2] * nz) +
        ty * (m[4] * nx + m[5] * ny + m[6] * nz) +
        tz * (m[8] * nx + m[9] * ny + m[10] * nz);
      const dx = x - other.positions[3 * j];
      const dy = y - other.positions[3 * j + 1];
      const dz = z - other.positions[3 * j + 2];
      const along = dx * tx + dy * ty + dz * tz;
      const across2 = dx * dx + dy * dy + dz * dz - along * along;
      if (across2 <= (other.edge[j] === 1 ? 0.64 : 2) * other.spacing * other.spacing) {
        if (facing > 0.8 && Math.abs(along) <= tolerance.agree) {
          state = SAMPLE_AGREES;
          sum += along * along;
        } else if (facing > 0.8) {
          // At the edge of a body means of neighbours lie inside it.
          const isSharp = other.sharp[j] === 1 || source.sharp[i] === 1;
          if (other.edge[j] === 0 && (!isSharp || Math.abs(along) > other.spacing)) state = SAMPLE_OFF;
        } else if (facing > -0.3 && other.interior[j] === 1) state = SAMPLE_OFF;
      }
    }
    if (state === SAMPLE_UNKNOWN && free !== null && freeSpaceDepth(free, x, y, z) > tolerance.free)
      state = SAMPLE_IN_FRONT;
    if (state > states[i]) states[i] = state;
  }
  return sum;
}

/** So many agreeing samples of one plane count in full; more only by their logarithm. */
const PLANE_CAP = 16;

/** Counts states of samples. */
export function countStates(
  surface: CoarseSurface,
  states: Uint8Array,
  stride: number,
  squares: number,
): OneSidedEvidence {
  const counts = [0, 0, 0, 0];
  const onPlane = new Float64Array(surface.planeCount);
  for (let i = 0; i < states.length; i += stride) {
    counts[states[i]]++;
    if (states[i] === SAMPLE_AGREES) onPlane[surface.plane[i]]++;
  }
  const cap = PLANE_CAP / stride;
  let weighted = 0;
  for (const n of onPlane) weighted += n <= cap ? n : cap * (1 + Math.log(n / cap));
  const agree = counts[SAMPLE_AGREES];
  return {
    samples: counts[0] + counts[1] + counts[2] + counts[3],
    agree,
    weighted,
    off: counts[SAMPLE_OFF],
    inFront: counts[SAMPLE_IN_FRONT],
    rms: agree > 0 ? Math.sqrt(squares / agree) : 0,
  };
}

/** Counts what speaks for and against a pose: one scan's samples against the other scan. */
export function collectEvidence(
  source: CoarseSurface,
  targetFromSource: Motion,
  target: CoarseLookup,
  free: FreeSpaceMap | null,
  tolerance: EvidenceTolerance,
  stride: number,
): OneSidedEvidence {
  const states = new Uint8Array(source.count);
  const squares = judgeSamples(source, targetFromSource, target, free, tolerance, stride, states);
  return countStates(source, states, stride, squares);
}
