import type { Finding } from '../base/index.ts';
import { buildMeshTopology, meshComponents } from '../geometry/index.ts';
import type { FusionPlan } from './fusion-plan.ts';
import { pickVertices, type SurfaceArrays } from './surface-arrays.ts';

/** Removes pieces too small to carry shape, and vertices without triangles; says how many pieces there were. */
export function removeSpecks(surface: SurfaceArrays, plan: FusionPlan, findings: Finding[]): SurfaceArrays {
  const { positions, triangles } = surface;
  const topology = buildMeshTopology(triangles, surface.sigmaNoise.length);
  const { component, count } = meshComponents(topology);
  const areas = new Float64Array(count);
  for (let t = 0; t < component.length; t++) areas[component[t]] += triangleArea(positions, triangles, t);
  const least = plan.speckArea * plan.resolution * plan.resolution;
  let removed = 0;
  let removedArea = 0;
  for (const area of areas) {
    if (area >= least) continue;
    removed++;
    removedArea += area;
  }
  if (removed > 0) {
    findings.push({
      severity: 'note',
      code: 'fuse/specks',
      subject: 'fused',
      message: `${removed} loose pieces with less than ${least.toPrecision(3)} mm² each, ${removedArea.toPrecision(3)} mm² together, were left out.`,
      remedy: 'Choose a smaller speck area to keep them.',
    });
  }
  const used = new Int32Array(surface.sigmaNoise.length).fill(-1);
  const kept: number[] = [];
  for (let t = 0; t < component.length; t++) {
    if (areas[component[t]] < least) continue;
    kept.push(t);
    for (let k = 0; k < 3; k++) used[triangles[3 * t + k]] = 0;
  }
  let vertexCount = 0;
  for (let v = 0; v < used.length; v++) if (used[v] === 0) used[v] = vertexCount++;
  const order = new Uint32Array(vertexCount);
  for (let v = 0; v < used.length; v++) if (used[v] >= 0) order[used[v]] = v;
  const out = new Uint32Array(3 * kept.length);
  kept.forEach((t, n) => {
    for (let k = 0; k < 3; k++) out[3 * n + k] = used[triangles[3 * t + k]];
  });
  return { ...pickVertices(surface, order), triangles: out };
}

function triangleArea(p: Float64Array, triangles: Uint32Array, t: number): number {
  const a = 3 * triangles[3 * t];
  const b = 3 * triangles[3 * t + 1];
  const c = 3 * triangles[3 * t + 2];
  const ux = p[b] - p[a];
  const uy = p[b + 1] - p[a + 1];
  const uz = p[b + 2] - p[a + 2];
  const vx = p[c] - p[a];
  const vy = p[c + 1] - p[a + 1];
  const vz = p[c + 2] - p[a + 2];
  return Math.sqrt((uy * vz - uz * vy) ** 2 + (uz * vx - ux * vz) ** 2 + (ux * vy - uy * vx) ** 2) / 2;
}
