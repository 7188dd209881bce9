import type { RunContext } from '../base/index.ts';
import type { Vec3 } from '../math/index.ts';
import type { SimulatedScene } from './scene.ts';
import type { SessionSurface } from './session-surface.ts';
import type { Station } from './station.ts';
import { measurePlaces } from './visibility.ts';

/** A marker stuck to the object: its centre on the surface and the direction it faces, model coordinates, mm. */
export interface PlacedTarget {
  readonly position: Vec3;
  readonly normal: Vec3;
}

/** Cosine of 15 degrees: where normals turn more within one triangle the surface is too curved for a marker. */
const FLAT = 0.966;

/**
 * Sticks targets to a captured surface at least a given distance apart, in random order, until no more fit.
 *
 * @param surface only its flat or gently curved places get a target
 * @param allowed which vertices may carry one
 * @param distance least distance between targets, mm: the mean spacing becomes about 1.2 times as much
 */
export function placeTargets(
  surface: SessionSurface,
  allowed: (vertex: number) => boolean,
  distance: number,
  name: string,
  context: RunContext,
): PlacedTarget[] {
  const { truePositions: p, normals: n, triangles } = surface;
  const count = p.length / 3;
  const unfit = new Uint8Array(count);
  for (let k = 0; k < triangles.length; k++) {
    const a = triangles[k];
    const b = triangles[k % 3 === 2 ? k - 2 : k + 1];
    const cosine = n[3 * a] * n[3 * b] + n[3 * a + 1] * n[3 * b + 1] + n[3 * a + 2] * n[3 * b + 2];
    if (cosine < FLAT) {
      unfit[a] = 1;
      unfit[b] = 1;
    }
  }
  const order: number[] = [];
  for (let v = 0; v < count; v++) if (!unfit[v] && allowed(v)) order.push(v);
  const random = context.random(name);
  for (let i = order.length - 1; i > 0; i--) {
    const j = random.integer(i + 1);
    [order[i], order[j]] = [order[j], order[i]];
  }
  const cells = new Map<string, number[]>();
  const placed: PlacedTarget[] = [];
  for (const v of order) {
    const cell = [0, 1, 2].map((axis) => Math.floor(p[3 * v + axis] / distance));
    let free = true;
    for (let k = 0; k < 27 && free; k++) {
      const key = `${cell[0] + (k % 3) - 1},${cell[1] + (Math.floor(k / 3) % 3) - 1},${cell[2] + Math.floor(k / 9) - 1}`;
      for (const w of cells.get(key) ?? []) {
        if (Math.hypot(p[3 * v] - p[3 * w], p[3 * v + 1] - p[3 * w + 1], p[3 * v + 2] - p[3 * w + 2]) < distance)
          free = false;
      }
    }
    if (!free) continue;
    const key = cell.join(',');
    cells.set(key, [...(cells.get(key) ?? []), v]);
    placed.push({
      position: [p[3 * v], p[3 * v + 1], p[3 * v + 2]],
      normal: [n[3 * v], n[3 * v + 1], n[3 * v + 2]],
    });
  }
  return placed;
}

/** A measured target: which one it is, and where the instrument found it. */
export interface MeasuredTarget {
  readonly target: number;
  readonly position: Vec3;
}

/** How targets are measured. */
export interface TargetCapture {
  readonly stations: readonly Station[];
  /** Largest angle at which a marker is recognised, rad. */
  readonly incidenceLimit: number;
  /** Standard deviation of each coordinate, mm. */
  readonly sigma: number;
  /** Share of visible targets that are found. */
  readonly foundShare: number;
}

/**
 * Measures the targets that some station sees from the front.
 *
 * Frames   model coordinates.
 *
 * @returns in the order of `targets`, those seen and found
 */
export async function measureTargets(
  scene: SimulatedScene,
  targets: readonly PlacedTarget[],
  capture: TargetCapture,
  name: string,
  context: RunContext,
): Promise<MeasuredTarget[]> {
  const places = Float64Array.from(targets.flatMap((t) => t.position));
  const normals = Float64Array.from(targets.flatMap((t) => t.normal));
  const options = { incidenceLimit: capture.incidenceLimit, tolerance: 0.6, tries: 8 };
  const seen = await measurePlaces(scene, places, normals, capture.stations, options, context);
  const random = context.random(name);
  const measured: MeasuredTarget[] = [];
  targets.forEach((t, i) => {
    const noise = [random.normal(), random.normal(), random.normal()];
    const found = random.uniform() < capture.foundShare;
    if (seen.station[i] < 0 || !found) return;
    const at = t.position.map((x, axis) => x + capture.sigma * noise[axis]);
    measured.push({ target: i, position: [at[0], at[1], at[2]] });
  });
  return measured;
}
