import {
  covarianceWithKnownTerms,
  type JobDocument,
  type JointCovariance,
  pointUncertaintiesOf,
  type Vec3,
} from '@lapjoint/engine';
import type { SurfaceAttributes } from '../store/surface-blob.ts';

/** Shares of each vertex's uncertainty that come from its place, each as if it were alone: expanded, k = 2, mm; NaN where not known. */
export interface PlacementParts {
  /** What the ties between frames leave open. */
  readonly ties: Float32Array;
  /** What scale, temperature and coefficient of expansion add. */
  readonly scale: Float32Array;
}

/**
 * Parts of the uncertainty of each vertex of the fused surface, after its main scan's frame.
 *
 * @param positions xyz of the vertices relative to `origin`, job frame, mm
 */
export function placementParts(
  document: JobDocument,
  joint: JointCovariance,
  attributes: SurfaceAttributes,
  positions: Float32Array,
  origin: Vec3,
): PlacementParts {
  const known = covarianceWithKnownTerms(joint);
  const rest = withoutTies(joint, known);
  const count = positions.length / 3;
  const parts = { ties: new Float32Array(count).fill(Number.NaN), scale: new Float32Array(count).fill(Number.NaN) };
  attributes.scanIds.forEach((id, source) => {
    const frame = document.scans.find((scan) => scan.id === id)?.frame;
    if (frame === undefined) return;
    const vertices: number[] = [];
    for (let i = 0; i < count; i++) if (attributes.dominantSource[i] === source) vertices.push(i);
    const places = new Float32Array(3 * vertices.length);
    vertices.forEach((vertex, at) => {
      places.set(positions.subarray(3 * vertex, 3 * vertex + 3), 3 * at);
    });
    for (const [covariance, out] of [
      [known, parts.ties],
      [rest, parts.scale],
    ] as const) {
      const values = pointUncertaintiesOf(covariance, frame, places, origin);
      if (values === null) continue;
      vertices.forEach((vertex, at) => {
        out[vertex] = values[at] as number;
      });
    }
  });
  return parts;
}

/** What the terms contribute: the full covariance less that with known terms. */
function withoutTies(joint: JointCovariance, known: JointCovariance): JointCovariance {
  const side = 6 * joint.frames.length;
  const full = side + joint.terms.length;
  const matrix = joint.matrix.slice();
  for (let i = 0; i < side; i++)
    for (let j = 0; j < side; j++)
      matrix[i * full + j] = (joint.matrix[i * full + j] as number) - (known.matrix[i * side + j] as number);
  return { ...joint, matrix };
}
