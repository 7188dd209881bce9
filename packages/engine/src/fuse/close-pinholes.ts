import type { Finding } from '../base/index.ts';
import { boundaryLoops, buildMeshTopology } from '../geometry/index.ts';
import type { FusionPlan } from './fusion-plan.ts';
import { pickVertices, type SurfaceArrays } from './surface-arrays.ts';

/** A hole with more edges, or with its corners further than this many resolutions (root mean square) from its middle, is a
 *  hole: one missing quadrangle has 0.7. */
const MOST_EDGES = 8;
const MOST_REACH = 1.15;

/**
 * Closes holes that are smaller than the resolution and counts them.
 *
 * Such a hole is no statement about the object: data lies on all its sides nearer than the grid can tell apart. Each is
 * closed with one vertex in its middle, which takes the attributes of the hole's first vertex. Larger holes stay open.
 */
export function closePinholes(surface: SurfaceArrays, plan: FusionPlan, findings: Finding[]): SurfaceArrays {
  const { positions, triangles } = surface;
  const vertexCount = surface.sigmaNoise.length;
  const added: number[] = [];
  const middles: number[] = [];
  const sources: number[] = [];
  for (const loop of boundaryLoops(buildMeshTopology(triangles, vertexCount))) {
    if (loop.length > MOST_EDGES) continue;
    const middle = [0, 0, 0];
    for (const h of loop) {
      for (let axis = 0; axis < 3; axis++) middle[axis] += positions[3 * triangles[h] + axis] / loop.length;
    }
    let square = 0;
    for (const h of loop) {
      for (let axis = 0; axis < 3; axis++) square += (positions[3 * triangles[h] + axis] - middle[axis]) ** 2;
    }
    if (square > loop.length * (MOST_REACH * plan.resolution) ** 2) continue;
    const vertex = vertexCount + sources.length;
    sources.push(triangles[loop[0]]);
    middles.push(...middle);
    loop.forEach((h, n) => {
      added.push(triangles[loop[(n + 1) % loop.length]], triangles[h], vertex);
    });
  }
  if (sources.length === 0) return surface;
  findings.push({
    severity: 'note',
    code: 'fuse/pinholes',
    subject: 'fused',
    message: `${sources.length} gaps smaller than the resolution of ${plan.resolution.toPrecision(3)} mm were closed.`,
    remedy: 'Nothing to do; a finer resolution shows them.',
  });
  const order = new Uint32Array(vertexCount + sources.length);
  for (let v = 0; v < vertexCount; v++) order[v] = v;
  order.set(sources, vertexCount);
  const picked = pickVertices(surface, order);
  picked.positions.set(middles, 3 * vertexCount);
  const all = new Uint32Array(triangles.length + added.length);
  all.set(triangles);
  all.set(added, triangles.length);
  return { ...picked, triangles: all };
}
