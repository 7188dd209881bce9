import type { TargetCloud } from './target-cloud.ts';
import { DISTANCE_GATE } from './target-triangles.ts';

/** A name that stands for different targets in the two lists, by the geometry. Indices into the caller's lists. */
export interface TargetNameConflict {
  readonly name: string;
  /** Where list A has the name, and list B. */
  readonly a: number;
  readonly b: number;
}

/** Canonical index of each name that occurs once. */
function uniqueNames(cloud: TargetCloud): Map<string, number> {
  const found = new Map<string, number>();
  cloud.names.forEach((name, i) => {
    if (name !== '') found.set(name, found.has(name) ? -1 : i);
  });
  for (const [name, i] of found) if (i < 0) found.delete(name);
  return found;
}

/** Pairs [query, reference] with the same name, ascending by query. */
function namedPairs(query: TargetCloud, reference: TargetCloud): [number, number][] {
  const other = uniqueNames(reference);
  const pairs: [number, number][] = [];
  for (const [name, i] of uniqueNames(query)) {
    const k = other.get(name);
    if (k !== undefined) pairs.push([i, k]);
  }
  return pairs.sort((x, y) => x[0] - y[0]);
}

/** How many of the pairs carry the same name on both sides. */
export function countEqualNames(
  query: TargetCloud,
  reference: TargetCloud,
  pairs: readonly (readonly [number, number])[],
): number {
  const equal = new Set(namedPairs(query, reference).map(([i, k]) => i * reference.count + k));
  return pairs.filter(([i, k]) => equal.has(i * reference.count + k)).length;
}

/** Names that occur in both lists but that the geometry gives to different targets. */
export function listNameConflicts(
  query: TargetCloud,
  reference: TargetCloud,
  pairs: readonly (readonly [number, number])[],
  swapped: boolean,
): TargetNameConflict[] {
  const partner = new Map(pairs.map(([i, k]) => [i, k]));
  const taken = new Set(pairs.map(([, k]) => k));
  return namedPairs(query, reference).flatMap(([i, k]) => {
    const met = partner.get(i);
    if (met === k || (met === undefined && !taken.has(k))) return [];
    const [q, r] = [query.order[i] as number, reference.order[k] as number];
    return [{ name: query.names[i] as string, a: swapped ? r : q, b: swapped ? q : r }];
  });
}

/**
 * Seeds from equal names whose distances agree: what to try first when names are right.
 *
 * Method   for each named pair, the two others that agree with it in distance and span the largest triangle with it.
 */
export function seedsFromNames(query: TargetCloud, reference: TargetCloud): (readonly (readonly [number, number])[])[] {
  const pairs = namedPairs(query, reference);
  const [n, m] = [query.count, reference.count];
  const agrees = (x: readonly [number, number], y: readonly [number, number]): boolean => {
    const gate =
      DISTANCE_GATE *
      Math.sqrt(
        query.sigma[x[0]] ** 2 + query.sigma[y[0]] ** 2 + reference.sigma[x[1]] ** 2 + reference.sigma[y[1]] ** 2,
      );
    return Math.abs(query.distances[x[0] * n + y[0]] - reference.distances[x[1] * m + y[1]]) <= gate;
  };
  const seeds: (readonly (readonly [number, number])[])[] = [];
  for (const first of pairs) {
    const friends = pairs.filter((p) => p !== first && agrees(first, p));
    // The farthest friend, then the one with the largest smaller distance to both.
    let second: readonly [number, number] | null = null;
    for (const p of friends) {
      if (!second || query.distances[first[0] * n + p[0]] > query.distances[first[0] * n + second[0]]) second = p;
    }
    if (!second) continue;
    let third: readonly [number, number] | null = null;
    let widest = 0;
    for (const p of friends) {
      if (p === second || !agrees(second, p)) continue;
      const detour =
        query.distances[first[0] * n + p[0]] +
        query.distances[second[0] * n + p[0]] -
        query.distances[first[0] * n + second[0]];
      if (detour > widest) {
        widest = detour;
        third = p;
      }
    }
    if (third) seeds.push([first, second, third]);
  }
  return seeds;
}
