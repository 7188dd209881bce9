import { existsSync } from 'node:fs';
import { join } from 'node:path';
import {
  compose,
  findCoarsePoses,
  invert,
  makeRandom,
  makeRunContext,
  normalizeQuaternion,
  type Pose,
  prepareScan,
} from '@lapjoint/engine';
import { cpuSeconds, type Measurement, type Peer, type PeerJob, type PeerPlaces } from '../race/job.ts';
import { moveScan, overlapShares, poseDeviation, readPosedScans } from '../race/posed-scans.ts';
import { median } from '../race/race.ts';

/** Sets of scans: points nearer than `near` overlap; right is near enough for a fine fit; shift of the starts. mm. */
const SETS = {
  bunny: { near: 1, right: 7.5, shift: 50 },
  synth: { near: 10, right: 90, shift: 1000 },
} as const;
const BANDS = { high: [0.5, 1], low: [0.2, 0.4] } as const;
const PAIRS = 6;
const STARTS = 2;

interface Trial {
  readonly status: 'right' | 'wrong' | 'refused';
  readonly seconds: number;
  readonly rms: number;
}

function summary(set: string, band: string, trials: readonly Trial[]): Measurement {
  const count = (status: Trial['status']): number => trials.filter((trial) => trial.status === status).length;
  const right = trials.filter((trial) => trial.status === 'right');
  return {
    case: `${set}, overlap ${band === 'high' ? '50 % and more' : '20 to 40 %'}, ${trials.length} starts`,
    figures: {
      right: count('right'),
      wrong: count('wrong'),
      refused: count('refused'),
      seconds: median(trials.map((trial) => trial.seconds)),
      rms: right.length > 0 ? median(right.map((trial) => trial.rms)) : Number.NaN,
    },
  };
}

/** Pairs of scans spread over those whose overlap, seen from both sides, lies in a band. */
function choosePairs(shares: readonly (readonly number[])[], low: number, high: number): (readonly [number, number])[] {
  const found: { share: number; pair: readonly [number, number] }[] = [];
  shares.forEach((row, i) => {
    row.forEach((share, j) => {
      const back = shares[j]![i]!;
      if (i !== j && Math.min(share, back) >= low && Math.max(share, back) <= high) found.push({ share, pair: [i, j] });
    });
  });
  found.sort((a, b) => a.share - b.share || a.pair[0] - b.pair[0] || a.pair[1] - b.pair[1]);
  const places = Array.from({ length: PAIRS }, (_, k) => Math.floor((k * (found.length - 1)) / (PAIRS - 1)));
  return found.length === 0 ? [] : [...new Set(places)].map((place) => found[place]!.pair);
}

interface PeerLine {
  readonly peer?: string;
  readonly set?: string;
  readonly band?: string;
  readonly prep_s?: number;
  readonly run_s?: number;
  readonly rot?: number;
  readonly pos?: number;
  readonly rms?: number;
}

/** Scan pairs from random poses, without a guess. */
export const job: PeerJob = {
  name: 'global',
  title: 'scan pairs without a guess; processor seconds a pair, all preparation included',
  figures: [
    { key: 'right', label: 'right', isRaced: false, digits: 0 },
    { key: 'wrong', label: 'wrong', isRaced: false, digits: 0 },
    { key: 'refused', label: 'refused', isRaced: false, digits: 0 },
    { key: 'seconds', label: 'seconds', isRaced: true, digits: 2 },
    { key: 'rms', label: 'rms of right ones, mm', isRaced: true, digits: 2 },
  ],
  peers({ data, scripts }: PeerPlaces): Peer[] {
    const script = scripts ? join(scripts, 'reg.py') : '';
    if (!data || !existsSync(script)) return [];
    return ['open3d-ransac', 'open3d-fgr'].map((name): Peer => {
      const trials = new Map<string, Trial[]>();
      return {
        name,
        // Through a pipe of the shell: /dev/stdout cannot be opened where it is a socket, as the race's is.
        command: ['/bin/sh', '-c', `/usr/bin/python3 '${script}' global '${data}' bunny 1 /dev/stdout | cat`],
        translate: (line: PeerLine) => {
          if (line.peer !== name || line.band === undefined || line.set !== 'bunny') return [];
          const list = trials.get(line.band) ?? [];
          trials.set(line.band, list);
          const isRight = (line.rot ?? 180) < 5 && (line.pos ?? Infinity) < SETS.bunny.right;
          list.push({
            status: isRight ? 'right' : 'wrong',
            seconds: (line.prep_s ?? 0) + (line.run_s ?? 0),
            rms: line.rms ?? Number.NaN,
          });
          if (list.length < PAIRS * STARTS) return [];
          trials.delete(line.band);
          return [summary('bunny', line.band, list)];
        },
      };
    });
  },
  async ours({ data }: PeerPlaces): Promise<Measurement[]> {
    const out: Measurement[] = [];
    for (const [set, { near, right, shift }] of Object.entries(SETS)) {
      const scans = data ? readPosedScans(join(data, set)) : null;
      if (scans === null) continue;
      const shares = overlapShares(scans, near);
      const random = makeRandom(2, set);
      for (const [band, [low, high]] of Object.entries(BANDS)) {
        const trials: Trial[] = [];
        for (const [i, j] of choosePairs(shares, low, high)) {
          for (let start = 0; start < STARTS; start++) {
            const moved: Pose = {
              rotation: normalizeQuaternion([random.normal(), random.normal(), random.normal(), random.normal()]),
              translation: [shift * random.normal(), shift * random.normal(), shift * random.normal()],
            };
            const source = moveScan(scans[i]!.data, moved);
            const truth = compose(compose(invert(scans[j]!.objectFromScan), scans[i]!.objectFromScan), invert(moved));
            const context = makeRunContext();
            const before = cpuSeconds();
            const result = await findCoarsePoses(
              await prepareScan(source, {}, context),
              await prepareScan(scans[j]!.data, {}, context),
              {},
              context,
            );
            const seconds = cpuSeconds() - before;
            const best = result.poses[0];
            if (result.status !== 'accepted' || best === undefined) {
              trials.push({ status: 'refused', seconds, rms: Number.NaN });
              continue;
            }
            const deviation = poseDeviation(best.targetFromSource, truth, source);
            const status = deviation.rotation < 5 && deviation.centre < right ? 'right' : 'wrong';
            trials.push({ status, seconds, rms: deviation.rms });
          }
        }
        out.push(summary(set, band, trials));
      }
    }
    return out;
  },
};
