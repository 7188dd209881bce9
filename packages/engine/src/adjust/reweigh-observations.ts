import type { AdjustableObservation, VarianceComponent } from '../model/index.ts';
import { observedPlaces } from './centre-frames.ts';
import type { MeasurementKind } from './judge-ties.ts';

/**
 * Observations with the variances of their groups multiplied by what the variance components found: to be adjusted once more, where
 * somebody asks for it. Nothing else reweighs by itself.
 *
 * @param group the one that the components were estimated with
 * @param leastRedundancy components with less say too little to be followed; 30: a factor known to a quarter
 */
export function reweighObservations(
  observations: readonly AdjustableObservation[],
  components: readonly VarianceComponent[],
  group: (measurement: MeasurementKind) => string | null,
  leastRedundancy = 30,
): AdjustableObservation[] {
  const factors = new Map(
    components.flatMap((c) =>
      c.uncertainty !== null && c.redundancy >= leastRedundancy ? [[c.group, c.factor] as const] : [],
    ),
  );
  return observations.map((o) => {
    const frames = [...new Set(observedPlaces(o).map((p) => p.frame))];
    const factor = factors.get(group({ tie: o.tie, kind: o.kind, frames }) ?? '');
    return factor === undefined ? o : withVariance(o, factor);
  });
}

function withVariance(o: AdjustableObservation, factor: number): AdjustableObservation {
  const root = Math.sqrt(factor);
  switch (o.kind) {
    case 'target':
      return { ...o, covariance: o.covariance.map((c) => c * factor) };
    case 'pair':
    case 'distance':
    case 'probe':
      return { ...o, sigma: o.sigma * root };
    case 'relation':
      return { ...o, sigma: o.sigma * root, angleSigma: o.angleSigma * root };
    case 'difference':
      return { ...o, information: o.information.map((v) => v / factor) };
    case 'known-point':
      return o.information === 'fixed' ? o : { ...o, information: o.information.map((v) => v / factor) };
    case 'overlap': {
      if (o.weighed === null) {
        // Unweighed forms count as so many independent distances of the larger of two sigmas: fewer count less.
        return { ...o, effectiveCount: o.effectiveCount / factor };
      }
      const { information, gradient, sumSquares } = o.weighed;
      return {
        ...o,
        weighed: {
          ...o.weighed,
          information: information.map((v) => v / factor),
          gradient: gradient.map((v) => v / factor),
          sumSquares: sumSquares / factor,
        },
      };
    }
    default:
      return o;
  }
}
