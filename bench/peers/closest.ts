import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { buildTriangleIndex } from '@lapjoint/engine';
import { bumpyRing, type GeneratedMesh, seededRandom } from '../race/generated.ts';
import { type Measurement, type Peer, type PeerJob, type PeerPlaces, peakMemory, timed } from '../race/job.ts';
import { readFloat32, readUint32 } from '../race/read-numbers.ts';

const CASE = '1 M points, 1.1 M triangles';

interface Line {
  readonly build_s?: number;
  readonly run_s?: number;
  readonly mean?: number;
  readonly peak_mb?: number;
}

function figures(build: number, search: number, mean: number, memory: number): Measurement[] {
  return [{ case: CASE, figures: { build, search, both: build + search, mean, memory } }];
}

function generatedQueries(mesh: GeneratedMesh): Float32Array {
  const random = seededRandom(2);
  const queries = new Float32Array(3_000_000);
  const count = mesh.triangles.length / 3;
  for (let i = 0; i < queries.length; i += 3) {
    const vertex = 3 * mesh.triangles[3 * Math.floor((i / queries.length) * count)]!;
    for (let axis = 0; axis < 3; axis++) queries[i + axis] = mesh.positions[vertex + axis]! + 10 * (random() - 0.5);
  }
  return queries;
}

/** Distances of a million points to a mesh of 1.1 million triangles. */
export const job: PeerJob = {
  name: 'closest',
  title: 'closest points on a mesh, processor seconds of one thread; "mean" is the mean distance, equal for all',
  figures: [
    { key: 'build', label: 'build', isRaced: false, digits: 2 },
    { key: 'search', label: 'search', isRaced: true, digits: 2 },
    { key: 'both', label: 'build + search', isRaced: true, digits: 2 },
    { key: 'mean', label: 'mean mm', isRaced: false, digits: 5 },
    { key: 'memory', label: 'peak MB', isRaced: false, digits: 0 },
  ],
  peers({ build, data, scripts }: PeerPlaces): Peer[] {
    const mesh = data ? join(data, 'big', 'truth') : '';
    const queries = data ? join(data, 'big', 'query.f32') : '';
    if (!build || !existsSync(queries)) return [];
    const translate = (line: Line): Measurement[] =>
      figures(
        line.build_s ?? Number.NaN,
        line.run_s ?? Number.NaN,
        line.mean ?? Number.NaN,
        line.peak_mb ?? Number.NaN,
      );
    const peers: Peer[] = ['cgal', 'vtk']
      .filter((name) => existsSync(join(build, `closest_${name}`)))
      .map((name) => ({ name, command: [join(build, `closest_${name}`), mesh, queries, '1'], translate }));
    const script = scripts ? join(scripts, 'o3d_simple.py') : '';
    if (existsSync(script)) {
      peers.push({ name: 'open3d', command: ['/usr/bin/python3', script, 'closest', mesh, queries, '1'], translate });
    }
    return peers;
  },
  ours({ data }: PeerPlaces): Measurement[] {
    const prefix = data ? join(data, 'big', 'truth') : '';
    const given = data !== null && existsSync(`${prefix}.v.f32`);
    const mesh = given
      ? { positions: readFloat32(`${prefix}.v.f32`), triangles: readUint32(`${prefix}.t.i32`) }
      : bumpyRing(745);
    const queries = given ? readFloat32(join(data, 'big', 'query.f32')) : generatedQueries(mesh);
    const count = queries.length / 3;
    const triangle = new Int32Array(count);
    const point = new Float32Array(3 * count);
    const squared = new Float32Array(count);
    const build = timed(() => buildTriangleIndex(mesh.positions, mesh.triangles));
    const search = timed(() => build.result.closestPoints(queries, Infinity, triangle, point, squared));
    let sum = 0;
    for (const value of squared) sum += Math.sqrt(value);
    return figures(build.seconds, search.seconds, sum / count, peakMemory());
  },
};
