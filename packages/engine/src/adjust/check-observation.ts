import type { Pose } from '../math/index.ts';
import type { AdjustableObservation, FrameFeature, OverlapObservation, ScaleTerm } from '../model/index.ts';

const finite = (values: readonly number[]): boolean => values.every(Number.isFinite);
const finitePose = (pose: Pose): boolean => finite([...pose.rotation, ...pose.translation]);
const isUnit = (v: readonly number[]): boolean => Math.abs(Math.hypot(...v) - 1) < 1e-6;

/**
 * Refuses what is no observation.
 *
 * @throws RangeError when a number is not finite or a covariance, sigma or count is not larger than zero
 */
export function checkObservation(o: AdjustableObservation): void {
  const problem = findProblem(o);
  if (problem) throw new RangeError(`Observation of tie ${o.tie}: ${problem}`);
}

const NO_NUMBER = 'a coordinate is no number.';
const BAD_SIGMA = 'sigma has to be larger than zero.';
const isSigma = (sigma: number): boolean => sigma > 0 && Number.isFinite(sigma);

function findProblem(o: AdjustableObservation): string | null {
  switch (o.kind) {
    case 'target':
      if (!finite(o.position)) return NO_NUMBER;
      if (o.covariance.length !== 9 || !finite(o.covariance)) return 'a covariance is nine numbers.';
      return [0, 4, 8].every((k) => (o.covariance[k] as number) > 0) ? null : 'a variance has to be larger than zero.';
    case 'pair':
      if (!finite(o.a) || !finite(o.b)) return NO_NUMBER;
      if (o.frameA === o.frameB) return `it links frame ${o.frameA} with itself.`;
      return isSigma(o.sigma) ? null : BAD_SIGMA;
    case 'overlap':
      return findOverlapProblem(o);
    case 'prior':
      if (o.information.length !== 36 || !finite(o.information)) return 'information is 36 numbers.';
      return finitePose(o.jobFromFrame0) && finite(o.reference) ? null : 'a number is not finite.';
    case 'distance':
      if (o.pointA === o.pointB) return `it links point ${o.pointA} with itself.`;
      if (!(o.distance > 0 && Number.isFinite(o.distance))) return 'a distance has to be larger than zero.';
      return isSigma(o.sigma) ? null : BAD_SIGMA;
    case 'difference':
      if (o.pointA === o.pointB) return `it links point ${o.pointA} with itself.`;
      if (!finite(o.vector)) return NO_NUMBER;
      return isInformation3(o.information)
        ? null
        : 'information is nine numbers, symmetric, none negative on the diagonal.';
    case 'known-point':
      if (!finite(o.position)) return NO_NUMBER;
      return o.information === 'fixed' || isInformation3(o.information)
        ? null
        : 'information is nine numbers, symmetric, none negative on the diagonal.';
    case 'probe':
      if (!finite([...o.point, ...o.surfacePoint, ...o.normal])) return NO_NUMBER;
      if (o.frameA === o.frameB) return `it links frame ${o.frameA} with itself.`;
      if (!isUnit(o.normal)) return 'a normal has length one.';
      return isSigma(o.sigma) ? null : BAD_SIGMA;
    case 'relation': {
      const features = [o.a, o.b, ...(o.plane ? [o.plane] : [])];
      for (const f of features) {
        if (!finite([...f.point, ...f.direction])) return NO_NUMBER;
        if (f.shape !== 'point' && !isUnit(f.direction)) return 'a direction has length one.';
      }
      if (new Set(features.map((f: FrameFeature) => f.frame)).size < 2)
        return `it links frame ${o.a.frame} with itself.`;
      if (o.relation === 'symmetric' && o.plane?.shape !== 'plane') return 'a symmetry needs its plane.';
      return isSigma(o.sigma) && isSigma(o.angleSigma) ? null : BAD_SIGMA;
    }
  }
}

function findOverlapProblem(o: OverlapObservation): string | null {
  if (o.frameA === o.frameB) return `it links frame ${o.frameA} with itself.`;
  if (o.information.length !== 36 || o.gradient.length !== 6) return 'information is 36 numbers, the gradient six.';
  if (!finite(o.information) || !finite(o.gradient) || !finitePose(o.bFromA0) || !finite(o.reference))
    return 'a number is not finite.';
  if (!(o.count > 0 && o.effectiveCount > 0 && o.sigma > 0 && o.sumSquares >= 0))
    return 'counts and sigma have to be larger than zero.';
  if (o.weighed) {
    if (o.weighed.information.length !== 49 || o.weighed.gradient.length !== 7)
      return 'weighed information is 49 numbers, its gradient seven.';
    if (!finite(o.weighed.information) || !finite(o.weighed.gradient)) return 'a number is not finite.';
  }
  return null;
}

function isInformation3(m: readonly number[]): boolean {
  if (m.length !== 9 || !finite(m)) return false;
  const at = (k: number): number => m[k] as number;
  const size = Math.max(at(0), at(4), at(8));
  if (!(at(0) >= 0 && at(4) >= 0 && at(8) >= 0 && size > 0)) return false;
  return [1, 2, 5].every((k) => Math.abs(at(k) - at((k % 3) * 3 + Math.floor(k / 3))) <= 1e-9 * size);
}

/** @throws RangeError for a scale term that is none */
export function checkScaleTerm(term: ScaleTerm): void {
  if (!(Number.isFinite(term.sigma) && (term.isEstimated ? term.sigma > 0 : term.sigma >= 0)))
    throw new RangeError(`Scale ${term.name}: sigma has to be larger than zero.`);
  if (!finite([...term.coefficients.values()])) throw new RangeError(`Scale ${term.name}: a coefficient is no number.`);
}
