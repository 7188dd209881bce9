/** Most crossings a face may have: two on each edge. */
export const MOST_ON_FACE = 8;

/** The crossings on the border of one face of a cell, in the order of a walk around it. */
export interface FaceWalk {
  count: number;
  /** Any number that identifies the crossing. */
  readonly ids: Int32Array;
  /** +1 when the walk goes from inside to outside here, -1 from outside to inside. */
  readonly senses: Int8Array;
  /** Which of the four edges the crossing is on. */
  readonly edges: Int8Array;
  /** Normals, xyz each. */
  readonly normals: Float64Array;
  /** Result: for each crossing the place in this list of the one it is joined with, -1 alone. */
  readonly partners: Int8Array;
}

/** Room for the largest walk. */
export function makeFaceWalk(): FaceWalk {
  return {
    count: 0,
    ids: new Int32Array(MOST_ON_FACE),
    senses: new Int8Array(MOST_ON_FACE),
    edges: new Int8Array(MOST_ON_FACE),
    normals: new Float64Array(3 * MOST_ON_FACE),
    partners: new Int8Array(MOST_ON_FACE),
  };
}

/** Normals of joined crossings must not be further apart than this (cosine of 110 degrees): skins of a thin sheet are not joined. */
const LEAST_AGREEMENT = -0.35;

/**
 * Joins the crossings of a face in pairs: each pair is where one sheet runs through the face.
 *
 * Method   pairs enter and leave (opposite senses), do not cross each other, are not on the same edge, and agree in their
 *          normals; as many pairs as possible, and of those the set whose normals agree best. The answer depends on the
 *          face alone, so both cells that share it get the same, and every cut through the face is shared by two cells.
 */
export function pairFaceCrossings(walk: FaceWalk): void {
  const { count, partners } = walk;
  partners.fill(-1, 0, count);
  if (count < 2) return;
  if (count === 2) {
    if (joinCost(walk, 0, 1) < Infinity) {
      partners[0] = 1;
      partners[1] = 0;
    }
    return;
  }
  applyBest(walk, 0, count - 1);
}

/** Infinity when the two must not be joined. */
function joinCost(walk: FaceWalk, a: number, b: number): number {
  if (walk.senses[a] === walk.senses[b] || walk.edges[a] === walk.edges[b]) return Infinity;
  const n = walk.normals;
  const agreement = n[3 * a] * n[3 * b] + n[3 * a + 1] * n[3 * b + 1] + n[3 * a + 2] * n[3 * b + 2];
  return agreement < LEAST_AGREEMENT ? Infinity : 1 - agreement;
}

/** Value of the best way to join the crossings from..to: 1000 a pair, less what their normals disagree. */
function bestValue(walk: FaceWalk, from: number, to: number): number {
  if (to - from < 1) return 0;
  let best = bestValue(walk, from + 1, to);
  for (let k = from + 1; k <= to; k++) {
    const cost = joinCost(walk, from, k);
    if (cost === Infinity) continue;
    const value = 1000 - cost + bestValue(walk, from + 1, k - 1) + bestValue(walk, k + 1, to);
    if (value > best) best = value;
  }
  return best;
}

function applyBest(walk: FaceWalk, from: number, to: number): void {
  if (to - from < 1) return;
  let best = bestValue(walk, from + 1, to);
  let partner = -1;
  for (let k = from + 1; k <= to; k++) {
    const cost = joinCost(walk, from, k);
    if (cost === Infinity) continue;
    const value = 1000 - cost + bestValue(walk, from + 1, k - 1) + bestValue(walk, k + 1, to);
    if (value > best) {
      best = value;
      partner = k;
    }
  }
  if (partner < 0) {
    applyBest(walk, from + 1, to);
    return;
  }
  walk.partners[from] = partner;
  walk.partners[partner] = from;
  applyBest(walk, from + 1, partner - 1);
  applyBest(walk, partner + 1, to);
}
