import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { buildPointIndex, estimateNormals } from '@lapjoint/engine';
import { bumpyRing, shuffledPoints } from '../race/generated.ts';
import { type Measurement, type Peer, type PeerJob, type PeerPlaces, peakMemory, timed } from '../race/job.ts';
import { readFloat32 } from '../race/read-numbers.ts';

const K = 20;
const CASE = `1 M points, k = ${K}`;

interface Line {
  readonly build_s?: number;
  readonly knn_s?: number;
  readonly normals_s?: number;
  readonly peak_mb?: number;
}

function figures(build: number, search: number, normals: number, memory: number): Measurement[] {
  return [
    {
      case: CASE,
      figures: {
        build,
        search,
        normals,
        neighbours: build + search,
        withNormals: build + normals,
        all: build + search + normals,
        memory,
      },
    },
  ];
}

/** 20 neighbours of a million points in random order, and their normals. */
export const job: PeerJob = {
  name: 'knn',
  title: 'k-nearest neighbours and normals of 1 M points in random order, processor seconds of one thread',
  figures: [
    { key: 'build', label: 'build', isRaced: false, digits: 2 },
    { key: 'search', label: 'search', isRaced: false, digits: 2 },
    { key: 'normals', label: 'normals with search', isRaced: false, digits: 2 },
    { key: 'neighbours', label: 'build + search', isRaced: true, digits: 2 },
    { key: 'withNormals', label: 'build + normals', isRaced: true, digits: 2 },
    { key: 'all', label: 'all three', isRaced: true, digits: 2 },
    { key: 'memory', label: 'peak MB', isRaced: false, digits: 0 },
  ],
  peers({ build, data, scripts }: PeerPlaces): Peer[] {
    const points = data ? join(data, 'big', 'knn.f32') : '';
    if (!build || !existsSync(points)) return [];
    const translate = (line: Line): Measurement[] =>
      figures(
        line.build_s ?? Number.NaN,
        line.knn_s ?? Number.NaN,
        line.normals_s ?? Number.NaN,
        line.peak_mb ?? Number.NaN,
      );
    const peers: Peer[] = ['nanoflann', 'pcl', 'cgal']
      .filter((name) => existsSync(join(build, `knn_${name}`)))
      .map((name) => ({ name, command: [join(build, `knn_${name}`), points, '1', String(K)], translate }));
    const script = scripts ? join(scripts, 'o3d_simple.py') : '';
    if (existsSync(script)) {
      peers.push({ name: 'open3d', command: ['/usr/bin/python3', script, 'knn', points, '1', String(K)], translate });
    }
    return peers;
  },
  ours({ data }: PeerPlaces): Measurement[] {
    const path = data ? join(data, 'big', 'knn.f32') : '';
    const points = existsSync(path) ? readFloat32(path) : shuffledPoints(bumpyRing(1000), 0.5, 1);
    const count = points.length / 3;
    const build = timed(() => buildPointIndex(points));
    const normals = timed(() => estimateNormals(points, K, build.result));
    // The room for the answers is there before the clock starts, as it is for the peers.
    const indices = new Int32Array(count * K).fill(-1);
    const squared = new Float32Array(count * K).fill(-1);
    const search = timed(() => build.result.kNearest(points, K, indices, squared));
    return figures(build.seconds, search.seconds, normals.seconds, peakMemory());
  },
};
