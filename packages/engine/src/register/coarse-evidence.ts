import type { CoarseLookup } from './coarse-lookup.ts';
import { lookUpNearest } from './coarse-lookup.ts';
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
  /** Root mean square distance of the agreeing samples from the other surface, mm. */
  readonly rms: number;
}

/** Limits of agreement, mm. */
export interface EvidenceTolerance {
  readonly agree: number;
  readonly free: number;
}

/**
 * Counts what speaks for and against a pose.
 *
 * Frames   `targetFromSource` between the scans' own float32 frames.
 *
 * @param stride every stride-th sample only
 */
export function collectEvidence(
  source: CoarseSurface,
  targetFromSource: Motion,
  target: CoarseLookup,
  free: FreeSpaceMap | null,
  tolerance: EvidenceTolerance,
  stride: number,
): OneSidedEvidence {
  const m = targetFromSource;
  const { positions, normals, count } = source;
  const other = target.surface;
  let samples = 0;
  let agree = 0;
  let off = 0;
  let inFront = 0;
  let sum = 0;
  for (let i = 0; i < count; i += stride) {
    samples++;
    const px = positions[3 * i];
    const py = positions[3 * i + 1];
    const pz = positions[3 * i + 2];
    const x = m[0] * px + m[1] * py + m[2] * pz + m[3];
    const y = m[4] * px + m[5] * py + m[6] * pz + m[7];
    const z = m[8] * px + m[9] * py + m[10] * pz + m[11];
    const j = lookUpNearest(target, x, y, z);
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
      const beside = across2 > (other.edge[j] === 1 ? 0.64 : 2) * other.spacing * other.spacing;
      if (!beside) {
        if (facing > 0.8 && Math.abs(along) <= tolerance.agree) {
          agree++;
          sum += along * along;
          continue;
        }
        if (facing > -0.3 && other.edge[j] === 0) {
          off++;
          continue;
        }
      }
    }
    if (free !== null && freeSpaceDepth(free, x, y, z) > tolerance.free) inFront++;
  }
  return { samples, agree, off, inFront, rms: agree > 0 ? Math.sqrt(sum / agree) : 0 };
}
