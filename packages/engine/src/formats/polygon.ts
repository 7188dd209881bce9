/** Bounds the work for one polygon. */
const MOST_LOOKS = 1e7;

/**
 * Cuts a simple polygon in space into triangles that keep its winding.
 *
 * Method   projected along the Newell normal, ears cut from the sharpest corner that holds no other vertex; convex
 *          quadrilaterals along the diagonal that keeps both halves fat. Where no ear is left (a polygon that crosses
 *          itself or has no area) the first corner is cut, so that the count is always right.
 * Cost     quadratic in the number of corners, and bounded: after ten million looks the rest is cut as a fan,
 *          which is wrong where the polygon is concave; the answer says so.
 *
 * @param positions xyz of all vertices
 * @param polygon vertex indices, at least three, all inside `positions`
 * @param out receives 3 (n - 2) vertex indices from `outStart` on
 * @returns false when the work was cut short
 */
export function triangulatePolygon(
  positions: Float32Array | Float64Array,
  polygon: Uint32Array,
  out: Uint32Array,
  outStart: number,
): boolean {
  const count = polygon.length;
  const flat = projectAlongNormal(positions, polygon);
  const left = Array.from({ length: count }, (_, i) => i);
  let at = outStart;
  let looks = 0;
  const turn = (a: number, b: number, c: number): number =>
    (flat[2 * b] - flat[2 * a]) * (flat[2 * c + 1] - flat[2 * a + 1]) -
    (flat[2 * b + 1] - flat[2 * a + 1]) * (flat[2 * c] - flat[2 * a]);
  const isEar = (k: number): boolean => {
    const n = left.length;
    const a = left[(k + n - 1) % n];
    const b = left[k];
    const c = left[(k + 1) % n];
    if (!(turn(a, b, c) > 0)) return false;
    looks += n;
    for (const other of left) {
      if (other === a || other === b || other === c) continue;
      if (turn(a, b, other) >= 0 && turn(b, c, other) >= 0 && turn(c, a, other) >= 0) {
        // A vertex at the place of a corner (a bridge to a hole) does not block the ear.
        const same = (v: number): boolean => flat[2 * v] === flat[2 * other] && flat[2 * v + 1] === flat[2 * other + 1];
        if (!same(a) && !same(b) && !same(c)) return false;
      }
    }
    return true;
  };
  const fatness = (k: number): number => {
    const n = left.length;
    const a = left[(k + n - 1) % n];
    const b = left[k];
    const c = left[(k + 1) % n];
    const square = (p: number, q: number): number =>
      (flat[2 * p] - flat[2 * q]) ** 2 + (flat[2 * p + 1] - flat[2 * q + 1]) ** 2;
    return turn(a, b, c) / (square(a, b) + square(b, c) + square(c, a) || 1);
  };
  while (left.length > 3) {
    let best = -1;
    let bestFatness = -1;
    looks += left.length;
    for (let k = 0; k < left.length && looks < MOST_LOOKS; k++) {
      const value = fatness(k);
      if (value > bestFatness && isEar(k)) {
        best = k;
        bestFatness = value;
        if (left.length > 64) break; // Long polygons: the first ear will do.
      }
    }
    if (best < 0) best = 1;
    const n = left.length;
    out[at++] = polygon[left[(best + n - 1) % n]];
    out[at++] = polygon[left[best]];
    out[at++] = polygon[left[(best + 1) % n]];
    left.splice(best, 1);
  }
  for (const corner of left) out[at++] = polygon[corner];
  return looks < MOST_LOOKS;
}

function projectAlongNormal(positions: Float32Array | Float64Array, polygon: Uint32Array): Float64Array {
  const count = polygon.length;
  const originX = positions[3 * polygon[0]];
  const originY = positions[3 * polygon[0] + 1];
  const originZ = positions[3 * polygon[0] + 2];
  const local = new Float64Array(3 * count);
  for (let i = 0; i < count; i++) {
    local[3 * i] = positions[3 * polygon[i]] - originX;
    local[3 * i + 1] = positions[3 * polygon[i] + 1] - originY;
    local[3 * i + 2] = positions[3 * polygon[i] + 2] - originZ;
  }
  let nx = 0;
  let ny = 0;
  let nz = 0;
  for (let i = 0; i < count; i++) {
    const a = 3 * i;
    const b = 3 * ((i + 1) % count);
    nx += (local[a + 1] - local[b + 1]) * (local[a + 2] + local[b + 2]);
    ny += (local[a + 2] - local[b + 2]) * (local[a] + local[b]);
    nz += (local[a] - local[b]) * (local[a + 1] + local[b + 1]);
  }
  const length = Math.hypot(nx, ny, nz) || 1;
  nx /= length;
  ny /= length;
  nz /= length;
  // Any two directions across the normal, right-handed with it (Duff et al. 2017).
  const sign = nz >= 0 ? 1 : -1;
  const a = -1 / (sign + nz);
  const b = nx * ny * a;
  const u = [1 + sign * nx * nx * a, sign * b, -sign * nx];
  const v = [b, sign + ny * ny * a, -ny];
  const flat = new Float64Array(2 * count);
  for (let i = 0; i < count; i++) {
    flat[2 * i] = local[3 * i] * u[0] + local[3 * i + 1] * u[1] + local[3 * i + 2] * u[2];
    flat[2 * i + 1] = local[3 * i] * v[0] + local[3 * i + 1] * v[1] + local[3 * i + 2] * v[2];
  }
  return flat;
}
