import { existsSync } from 'node:fs';
import { join } from 'node:path';
import {
  compose,
  IDENTITY_POSE,
  invert,
  makeRandom,
  makeRunContext,
  type Pose,
  perturb,
  prepareScan,
  type Random,
  refinePose,
  releaseScanPointIndex,
  type ScanData,
  type Vec3,
} from '@lapjoint/engine';
import { bumpyRing, shuffledPoints } from '../race/generated.ts';
import { cpuSeconds, type Measurement, type Peer, type PeerJob, type PeerPlaces } from '../race/job.ts';
import { overlapShares, type PosedScan, poseDeviation, readPosedScans } from '../race/posed-scans.ts';
import { median } from '../race/race.ts';

/** Points nearer than this overlap, mm. */
const NEAR = { bunny: 1, synth: 10 } as const;
const PAIRS = 8;
const [LOW, HIGH] = [0.4, 1];
/** How far the starts are off: degrees, and share of the size. */
const START = { angleDeg: 5, share: 0.01 } as const;
/** PCL takes several minutes a round on the larger set: there its fastest rival stands for it. */
const CONTENDERS = {
  'open3d-plane': ['bunny', 'synth'],
  'open3d-gicp': ['bunny', 'synth'],
  'pcl-plane': ['bunny'],
  'pcl-gicp': ['bunny'],
} as const;

interface Trial {
  readonly seconds: number;
  readonly rms: number;
}

function summary(set: string, trials: readonly Trial[]): Measurement {
  const rms = trials.map((trial) => trial.rms);
  return {
    case: `${set}, ${trials.length} pairs`,
    figures: {
      seconds: median(trials.map((trial) => trial.seconds)),
      slowest: Math.max(...trials.map((trial) => trial.seconds)),
      rms: median(rms),
      worst: Math.max(...rms),
    },
  };
}

/** Pairs of scans spread over those whose overlap is large enough seen from both sides. */
function choosePairs(shares: readonly (readonly number[])[]): (readonly [number, number])[] {
  const found: { share: number; pair: readonly [number, number] }[] = [];
  shares.forEach((row, i) => {
    row.forEach((share, j) => {
      const back = shares[j]![i]!;
      if (i !== j && Math.min(share, back) >= LOW && Math.max(share, back) <= HIGH) found.push({ share, pair: [i, j] });
    });
  });
  found.sort((a, b) => a.share - b.share || a.pair[0] - b.pair[0] || a.pair[1] - b.pair[1]);
  const places = Array.from({ length: PAIRS }, (_, k) => Math.floor((k * (found.length - 1)) / (PAIRS - 1)));
  return found.length === 0 ? [] : [...new Set(places)].map((place) => found[place]!.pair);
}

function direction(random: Random, length: number): Vec3 {
  const v = [random.normal(), random.normal(), random.normal()];
  const f = length / Math.hypot(...v);
  return [v[0]! * f, v[1]! * f, v[2]! * f];
}

/** The true pose moved about the middle of the scan, as a rough alignment leaves it. */
function startNear(truth: Pose, scan: ScanData, random: Random): Pose {
  const count = scan.positions.length / 3;
  const middle = [0, 0, 0];
  const min = [Infinity, Infinity, Infinity];
  const max = [-Infinity, -Infinity, -Infinity];
  scan.positions.forEach((value, i) => {
    middle[i % 3]! += value / count;
    min[i % 3] = Math.min(min[i % 3]!, value);
    max[i % 3] = Math.max(max[i % 3]!, value);
  });
  const size = Math.hypot(...max.map((value, k) => value - min[k]!));
  const shift = direction(random, START.share * size);
  const turn = direction(random, (START.angleDeg * Math.PI) / 180);
  return compose(truth, perturb(IDENTITY_POSE, [...shift, ...turn], [middle[0]!, middle[1]!, middle[2]!]));
}

async function runPair(source: ScanData, target: ScanData, truth: Pose, random: Random): Promise<Trial> {
  const start = startNear(truth, source, random);
  const context = makeRunContext();
  const before = cpuSeconds();
  const [first, second] = [await prepareScan(source, {}, context), await prepareScan(target, {}, context)];
  const found = await refinePose(first, second, { start }, context);
  const seconds = cpuSeconds() - before;
  releaseScanPointIndex(first);
  releaseScanPointIndex(second);
  return { seconds, rms: poseDeviation(found.targetFromSource, truth, source).rms };
}

/** Points only: the peers get no more. */
function pointsOf(scan: PosedScan): ScanData {
  return { ...scan.data, normals: null };
}

function generated(grid: number, seed: number): ScanData {
  const positions = shuffledPoints(bumpyRing(grid), 1, seed);
  return { origin: [0, 0, 0], positions, normals: null, colors: null, triangles: null, viewpoint: null };
}

interface PeerLine {
  readonly peer?: string;
  readonly variant?: string;
  readonly set?: string;
  readonly prep_s?: number;
  readonly run_s?: number;
  readonly rms?: number;
}

/** Fine registration of scan pairs from 5 deg and 1 % of the size off. */
export const job: PeerJob = {
  name: 'icp',
  title: 'fine registration of scan pairs from 5 deg off; processor seconds a pair, all preparation included',
  figures: [
    { key: 'seconds', label: 'seconds, median', isRaced: true, digits: 2 },
    { key: 'slowest', label: 'slowest', isRaced: false, digits: 2 },
    { key: 'rms', label: 'rms to the true pose, mm, median', isRaced: true, digits: 4 },
    { key: 'worst', label: 'worst', isRaced: true, digits: 4 },
  ],
  peers({ build, data, scripts }: PeerPlaces): Peer[] {
    const script = scripts ? join(scripts, 'reg.py') : '';
    if (!build || !data || !existsSync(script)) return [];
    return Object.entries(CONTENDERS).map(([name, sets]): Peer => {
      const trials = new Map<string, Trial[]>();
      const only = name.replace('-', ':');
      const commands = sets.map(
        (set) => `/usr/bin/python3 '${script}' icp '${data}' ${set} 1 /dev/stdout --build '${build}' --only ${only}`,
      );
      return {
        name,
        // Through a pipe of the shell: /dev/stdout cannot be opened where it is a socket, as the race's is.
        command: ['/bin/sh', '-c', `{ ${commands.join(' && ')}; } | cat`],
        translate: (line: PeerLine) => {
          if (`${line.peer}-${line.variant}` !== name || line.set === undefined || line.rms === undefined) return [];
          const list = trials.get(line.set) ?? [];
          trials.set(line.set, list);
          list.push({ seconds: (line.prep_s ?? 0) + (line.run_s ?? 0), rms: line.rms });
          if (list.length < PAIRS) return [];
          trials.delete(line.set);
          return [summary(line.set, list)];
        },
      };
    });
  },
  async ours({ data }: PeerPlaces): Promise<Measurement[]> {
    const out: Measurement[] = [];
    for (const [set, near] of Object.entries(NEAR)) {
      const scans = data ? readPosedScans(join(data, set)) : null;
      if (scans === null) continue;
      const random = makeRandom(1, set);
      const trials: Trial[] = [];
      for (const [i, j] of choosePairs(overlapShares(scans, near))) {
        const truth = compose(invert(scans[j]!.objectFromScan), scans[i]!.objectFromScan);
        trials.push(await runPair(pointsOf(scans[i]!), pointsOf(scans[j]!), truth, random));
      }
      out.push(summary(set, trials));
    }
    if (out.length > 0) return out;
    const random = makeRandom(1, 'generated');
    const trials: Trial[] = [];
    for (let pair = 0; pair < PAIRS; pair++) {
      trials.push(await runPair(generated(300, 2 * pair + 1), generated(317, 2 * pair + 2), IDENTITY_POSE, random));
    }
    return [summary('generated ring', trials)];
  },
};
