import { existsSync } from 'node:fs';
import { join } from 'node:path';
import {
  absoluteOrientation,
  assembleScans,
  chooseCoarseSpacing,
  compose,
  describeForAssembly,
  FIND_COARSE_POSES_DEFAULTS,
  invert,
  makeRandom,
  makeRunContext,
  matchPair,
  normalizeQuaternion,
  type PairMatch,
  type Pose,
  prepareScan,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import { cpuSeconds, type Measurement, type Peer, type PeerJob, type PeerPlaces } from '../race/job.ts';
import { moveScan, poseDeviation, readPosedScans } from '../race/posed-scans.ts';

const CASE = 'bunny, ten scans from random frames';
/** Scans farther off than this are lost, mm: a fiftieth of the object. */
const LOST = 3.9;

interface PeerLine {
  readonly start?: string;
  readonly total_s?: number;
  readonly rms_all?: number;
  readonly rms_max?: number;
  readonly rot_max?: number;
  readonly lost?: number;
}

/** Ten scans placed in one frame from nothing. Ours are first poses, before the adjustment of all frames. */
export const job: PeerJob = {
  name: 'multi',
  title: 'ten scans in one frame from nothing, processor seconds of one thread',
  figures: [
    { key: 'seconds', label: 'seconds', isRaced: true, digits: 1 },
    { key: 'rms', label: 'rms of all, mm', isRaced: false, digits: 2 },
    { key: 'worst', label: 'worst scan, mm', isRaced: false, digits: 2 },
    { key: 'rotation', label: 'worst scan, deg', isRaced: false, digits: 2 },
    { key: 'lost', label: 'lost', isRaced: false, digits: 0 },
    { key: 'refused', label: 'refused', isRaced: false, digits: 0 },
  ],
  peers({ data, scripts }: PeerPlaces): Peer[] {
    const script = scripts ? join(scripts, 'reg.py') : '';
    if (!data || !existsSync(script)) return [];
    return [
      {
        name: 'open3d',
        // Through a pipe of the shell: /dev/stdout cannot be opened where it is a socket, as the race's is.
        command: [
          '/bin/sh',
          '-c',
          `/usr/bin/python3 '${script}' multi '${data}' bunny 1 /dev/stdout --start blind | cat`,
        ],
        translate: (line: PeerLine) => [
          {
            case: CASE,
            figures: {
              seconds: line.total_s ?? Number.NaN,
              rms: line.rms_all ?? Number.NaN,
              worst: line.rms_max ?? Number.NaN,
              rotation: line.rot_max ?? Number.NaN,
              lost: line.lost ?? Number.NaN,
              refused: 0,
            },
          },
        ],
      },
    ];
  },
  async ours({ data }: PeerPlaces): Promise<Measurement[]> {
    const scans = data ? readPosedScans(join(data, 'bunny')) : null;
    if (scans === null) return [];
    const random = makeRandom(1, 'multi');
    const starts = scans.map(
      (): Pose => ({
        rotation: normalizeQuaternion([random.normal(), random.normal(), random.normal(), random.normal()]),
        translation: [50 * random.normal(), 50 * random.normal(), 50 * random.normal()],
      }),
    );
    const moved = scans.map((scan, i) => moveScan(scan.data, starts[i]!));
    const context = makeRunContext();
    const before = cpuSeconds();
    const prepared = [];
    for (const scan of moved) prepared.push(await prepareScan(scan, {}, context));
    const spacing = chooseCoarseSpacing(prepared, FIND_COARSE_POSES_DEFAULTS.spacingShare);
    const described = prepared.map((scan) => describeForAssembly(scan, spacing));
    const pairs: PairMatch[] = [];
    for (let source = 0; source < described.length; source++) {
      for (let target = source + 1; target < described.length; target++) {
        pairs.push(matchPair({ source, target, sourceScan: described[source]!, targetScan: described[target]! }));
      }
    }
    const result = await assembleScans(described, pairs, context);
    const seconds = cpuSeconds() - before;

    // The common frame is free: all placed points are fitted to their true places before judging.
    const from: Vec3[] = [];
    const to: Vec3[] = [];
    const truth = scans.map((scan, i) => compose(scan.objectFromScan, invert(starts[i]!)));
    result.scans.forEach(({ assemblyFromScan }, i) => {
      const { positions, origin } = moved[i]!;
      for (let k = 0; assemblyFromScan !== null && k < positions.length; k += 150) {
        const p: Vec3 = [positions[k]! + origin[0], positions[k + 1]! + origin[1], positions[k + 2]! + origin[2]];
        from.push(transformPoint(assemblyFromScan, p));
        to.push(transformPoint(truth[i]!, p));
      }
    });
    const deviations = [];
    if (from.length > 0) {
      const fit = absoluteOrientation(from, to).targetFromSource;
      for (const [i, { assemblyFromScan }] of result.scans.entries()) {
        if (assemblyFromScan) deviations.push(poseDeviation(compose(fit, assemblyFromScan), truth[i]!, moved[i]!));
      }
    }
    return [
      {
        case: CASE,
        figures: {
          seconds,
          rms: Math.sqrt(deviations.reduce((sum, d) => sum + d.rms ** 2, 0) / deviations.length),
          worst: Math.max(...deviations.map((d) => d.rms)),
          rotation: Math.max(...deviations.map((d) => d.rotation)),
          lost: deviations.filter((d) => d.rms > LOST).length,
          refused: scans.length - deviations.length,
        },
      },
    ];
  },
};
