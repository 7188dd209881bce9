import type { OverlapCorrelation } from '../model/index.ts';
import type { GradientCovariance, ResidualCovariance } from './model-error-tests.ts';
import type { NetworkModel } from './network-model.ts';
import type { ObservedElement, ObservedElements } from './observed-elements.ts';
import type { SolvedNetwork } from './solve-network.ts';
import type { StatedCovariance } from './stated-covariance.ts';

/** What tests of a solved network need to know of its errors. */
export function residualCovariance(
  model: NetworkModel,
  solved: SolvedNetwork,
  stated: StatedCovariance,
  observed: ObservedElements,
  correlations: readonly OverlapCorrelation[],
): ResidualCovariance {
  const count = solved.unknowns.sizes.length;
  const blocks = new Map<number, Float64Array>();
  return {
    // Every error asks for the same few blocks: each is cut out once.
    cofactor: (i, j) => {
      const key = i * count + j;
      let block = blocks.get(key);
      if (!block) {
        block = solved.factor.inverseBlock(i, j);
        blocks.set(key, block);
      }
      return block;
    },
    covariance: stated.correlatedBlock,
    correlations: correlations.length > 0 ? sharedGradients(observed, correlations) : [],
    // Estimated terms are unknowns; they are named by their index among all.
    consideredSigmas: model.terms.map((t) => (t.isEstimated ? 0 : t.sigma)),
  };
}

function sharedGradients(
  observed: ObservedElements,
  correlations: readonly OverlapCorrelation[],
): GradientCovariance[] {
  const ofTie = new Map<string, number[]>();
  observed.elements.forEach((e, i) => {
    if (e.kind !== 'overlap') return;
    const list = ofTie.get(e.tie) ?? [];
    ofTie.set(e.tie, list);
    list.push(i);
  });
  return correlations.flatMap(({ tieA, tieB, gradientCovariance }) =>
    (ofTie.get(tieA) ?? []).flatMap((elementA) =>
      (ofTie.get(tieB) ?? []).map((elementB) => {
        const m = (observed.elements[elementA] as ObservedElement).size;
        const n = (observed.elements[elementB] as ObservedElement).size;
        // The stretch of a weighed overlap, its seventh number, is taken as its own.
        const covariance = new Float64Array(m * n);
        // Entered in both orders, which are one for an overlap and itself.
        const share = elementA === elementB ? 0.5 : 1;
        for (let i = 0; i < 6; i++)
          for (let j = 0; j < 6; j++) covariance[i * n + j] = share * (gradientCovariance[6 * i + j] as number);
        return { elementA, elementB, covariance };
      }),
    ),
  );
}
