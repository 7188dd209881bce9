import { type FusedSurface, type JobDocument, type JointCovariance, pointUncertaintiesOf } from '@lapjoint/engine';
import { pointErrorsOf, pointErrorVariance } from './instrument-part.ts';

/**
 * Stated uncertainty of every vertex of a fused surface (expanded, k = 2, most uncertain direction), mm: that of its main
 * scan's frame at this place, with what ties and scale leave open, and the errors of its main scan's points.
 *
 * Where the errors of a scan's points are not known, the noise that fusion found stands for them; without a joint covariance
 * the uncertainty that fusion was given for the placement.
 */
export function vertexUncertainty(
  document: JobDocument,
  surface: FusedSurface,
  joint: JointCovariance | null,
): Float32Array {
  const { positions, origin, dominantSource, scanIds, sigmaNoise, sigmaAlignment } = surface;
  const out = new Float32Array(dominantSource.length);
  scanIds.forEach((id, source) => {
    const scan = document.scans.find((item) => item.id === id);
    if (scan === undefined) return;
    const errors = pointErrorsOf(document, scan);
    const own = errors === null ? null : pointErrorVariance(errors);
    const vertices: number[] = [];
    for (let i = 0; i < dominantSource.length; i++) if (dominantSource[i] === source) vertices.push(i);
    const places = new Float32Array(3 * vertices.length);
    vertices.forEach((vertex, at) => {
      places.set(positions.subarray(3 * vertex, 3 * vertex + 3), 3 * at);
    });
    const stated = joint === null ? null : pointUncertaintiesOf(joint, scan.frame, places, origin);
    vertices.forEach((vertex, at) => {
      const placed = stated === null ? 2 * (sigmaAlignment[vertex] as number) : (stated[at] as number);
      const noise = own ?? (sigmaNoise[vertex] as number) ** 2;
      out[vertex] = Math.sqrt(placed * placed + 4 * noise);
    });
  });
  return out;
}
