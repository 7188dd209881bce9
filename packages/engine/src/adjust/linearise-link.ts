import {
  attachUnknowns,
  type LinearLink,
  type NetworkState,
  type NetworkUnknowns,
  type PlainLink,
} from './linear-link.ts';
import { lineariseForm } from './linearise-form.ts';
import {
  lineariseDifference,
  lineariseDistance,
  lineariseKnownPoint,
  linearisePair,
  lineariseProbe,
  lineariseSighting,
} from './linearise-points.ts';
import { lineariseRelation } from './linearise-relation.ts';
import type { NetworkLink, NetworkModel } from './network-model.ts';

/** Linearises a link at the present state. */
export function lineariseLink(
  link: NetworkLink,
  model: NetworkModel,
  state: NetworkState,
  unknowns: NetworkUnknowns,
): LinearLink {
  const plain = linearisePlain(link, model, state);
  return { ...plain, ...attachUnknowns(plain, model, unknowns) };
}

function linearisePlain(link: NetworkLink, model: NetworkModel, state: NetworkState): PlainLink {
  switch (link.kind) {
    case 'pair':
      return linearisePair(link, model, state);
    case 'target':
      return lineariseSighting(link, model, state);
    case 'distance':
      return lineariseDistance(link, state);
    case 'difference':
      return lineariseDifference(link, state);
    case 'known-point':
      return lineariseKnownPoint(link, state);
    case 'probe':
      return lineariseProbe(link, model, state);
    case 'relation':
      return lineariseRelation(link, model, state);
    default:
      return lineariseForm(link, model, state);
  }
}
