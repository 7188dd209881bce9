import type { RunContext } from '../base/index.ts';
import { castIntoScene, type SimulatedScene } from './scene.ts';
import type { Station } from './station.ts';

/** From where places of a surface were measured. One entry a place, positions three. */
export interface MeasuredPlaces {
  /** Station that measured it, -1 where none could. */
  readonly station: Int32Array;
  /** Where the ray met the scene, mm: on the scene's triangles. */
  readonly positions: Float64Array;
  /** Distance to the station, mm. */
  readonly ranges: Float64Array;
}

export interface VisibilityOptions {
  /** Largest angle between ray and normal, rad. */
  readonly incidenceLimit: number;
  /** A hit this much nearer than the place hides it, mm: more than the chord of the scene's triangles. */
  readonly tolerance: number;
  /** Stations tried for a place, best first. */
  readonly tries: number;
}

const CHUNK = 2048;

/** The best stations of each place of a chunk by cosine of incidence over range; -1 padded. */
function bestStations(
  places: Float64Array,
  normals: Float64Array,
  from: number,
  to: number,
  stations: readonly Station[],
  options: VisibilityOptions,
): Int32Array {
  const { tries } = options;
  const best = new Int32Array((to - from) * tries).fill(-1);
  const scores = new Float64Array((to - from) * tries);
  const low = [Number.POSITIVE_INFINITY, Number.POSITIVE_INFINITY, Number.POSITIVE_INFINITY];
  const high = [Number.NEGATIVE_INFINITY, Number.NEGATIVE_INFINITY, Number.NEGATIVE_INFINITY];
  for (let i = 3 * from; i < 3 * to; i++) {
    low[i % 3] = Math.min(low[i % 3], places[i]);
    high[i % 3] = Math.max(high[i % 3], places[i]);
  }
  const leastCosine = Math.cos(options.incidenceLimit);
  stations.forEach((station, s) => {
    const [px, py, pz] = station.position;
    const gap = Math.hypot(
      Math.max(low[0] - px, 0, px - high[0]),
      Math.max(low[1] - py, 0, py - high[1]),
      Math.max(low[2] - pz, 0, pz - high[2]),
    );
    if (gap > station.farRange) return;
    const d = station.direction;
    const leastView = Math.cos(station.halfAngle);
    const far2 = station.farRange ** 2;
    const near2 = station.nearRange ** 2;
    for (let i = from; i < to; i++) {
      const x = px - places[3 * i];
      const y = py - places[3 * i + 1];
      const z = pz - places[3 * i + 2];
      const along = x * normals[3 * i] + y * normals[3 * i + 1] + z * normals[3 * i + 2];
      if (along <= 0) continue;
      const r2 = x * x + y * y + z * z;
      if (r2 > far2 || r2 < near2) continue;
      const r = Math.sqrt(r2);
      if (along < leastCosine * r) continue;
      if (d !== null && -(x * d[0] + y * d[1] + z * d[2]) < leastView * r) continue;
      const score = along / r2;
      const at = (i - from) * tries;
      if (score <= scores[at + tries - 1]) continue;
      let k = tries - 1;
      while (k > 0 && score > scores[at + k - 1]) {
        scores[at + k] = scores[at + k - 1];
        best[at + k] = best[at + k - 1];
        k--;
      }
      scores[at + k] = score;
      best[at + k] = s;
    }
  });
  return best;
}

/**
 * Finds which places of a surface some station sees, and measures them by a ray from there.
 *
 * Frames   places, normals and stations in the scene's coordinates.
 * Units    mm, rad.
 * Method   for each place the stations are tried in the order of cosine of incidence over range; the first with a clear
 *          line of sight measures it.
 * Limits   a place that only a station beyond the first `tries` sees counts as unseen.
 *
 * @param places xyz interleaved, on the true surface to within the tolerance
 * @param normals unit, outward
 */
export async function measurePlaces(
  scene: SimulatedScene,
  places: Float64Array,
  normals: Float64Array,
  stations: readonly Station[],
  options: VisibilityOptions,
  context: RunContext,
): Promise<MeasuredPlaces> {
  const count = places.length / 3;
  const station = new Int32Array(count).fill(-1);
  const ranges = new Float64Array(count);
  const positions = places.slice();
  const reach = stations.reduce((largest, s) => Math.max(largest, s.farRange), 0) + options.tolerance;
  for (let from = 0; from < count; from += CHUNK) {
    const to = Math.min(count, from + CHUNK);
    const best = bestStations(places, normals, from, to, stations, options);
    let open: number[] = [];
    for (let i = from; i < to; i++) open.push(i);
    for (let attempt = 0; attempt < options.tries && open.length > 0; attempt++) {
      const tried = open.filter((i) => best[(i - from) * options.tries + attempt] >= 0);
      const origins = new Float64Array(3 * tried.length);
      const directions = new Float64Array(3 * tried.length);
      const distances = new Float64Array(tried.length);
      tried.forEach((i, k) => {
        const p = stations[best[(i - from) * options.tries + attempt]].position;
        const d = [0, 1, 2].map((axis) => places[3 * i + axis] - p[axis]);
        distances[k] = Math.hypot(d[0], d[1], d[2]);
        for (let axis = 0; axis < 3; axis++) {
          origins[3 * k + axis] = p[axis];
          directions[3 * k + axis] = d[axis] / distances[k];
        }
      });
      const hits = castIntoScene(scene, origins, directions, reach);
      const next: number[] = [];
      tried.forEach((i, k) => {
        const gap = hits.triangle[k] < 0 ? Number.POSITIVE_INFINITY : hits.distances[k] - distances[k];
        if (gap < -options.tolerance) {
          next.push(i);
          return;
        }
        station[i] = best[(i - from) * options.tries + attempt];
        ranges[i] = distances[k];
        // A ray aimed at a sharp edge may pass beside it; the place itself then stands for the hit.
        if (gap <= options.tolerance) positions.set(hits.positions.subarray(3 * k, 3 * k + 3), 3 * i);
      });
      open = next;
    }
    await context.checkpoint(to / count);
  }
  return { station, positions, ranges };
}
