import { spawnSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import type { Measurement, Peer, PeerJob, PeerPlaces } from './job.ts';

/** The name our side has in tables. */
export const OURS = 'lapjoint';

/** All that one contender measured for one case. */
export interface Entry {
  readonly contender: string;
  readonly case: string;
  readonly rounds: Record<string, (number | string)[]>;
}

/** Result of a race. */
export interface RaceResult {
  readonly entries: readonly Entry[];
  readonly failures: readonly string[];
}

/**
 * Runs ours and the peers in turn, `rounds` times, each in a process of its own, in alternating order.
 *
 * Peers run under the processor-time clock of their build where it exists, so that both sides are judged by processor
 * time and other load on the machine counts for neither.
 */
export function race(job: PeerJob, places: PeerPlaces, rounds: number, tell: (text: string) => void): RaceResult {
  const entries = new Map<string, Entry>();
  const failures = new Set<string>();
  const peers = job.peers(places);
  const contenders = [OURS, ...peers.map((peer) => peer.name)];
  for (let round = 0; round < rounds; round++) {
    for (const name of round % 2 === 0 ? contenders : contenders.toReversed()) {
      tell(`${job.name}: round ${round + 1} of ${rounds}, ${name}`);
      const peer = peers.find((one) => one.name === name);
      const outcome = peer ? runPeer(peer, places) : runOurs(job);
      if (typeof outcome === 'string') {
        failures.add(`${name}: ${outcome}`);
        continue;
      }
      for (const measurement of outcome) record(entries, name, measurement);
    }
  }
  return { entries: [...entries.values()], failures: [...failures] };
}

/** Middle value; of an even number the mean of the two middle ones. */
export function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  const middle = sorted.length >> 1;
  return sorted.length % 2 === 1 ? sorted[middle]! : (sorted[middle - 1]! + sorted[middle]!) / 2;
}

function record(entries: Map<string, Entry>, contender: string, measurement: Measurement): void {
  const key = `${contender}\n${measurement.case}`;
  const entry = entries.get(key) ?? { contender, case: measurement.case, rounds: {} };
  entries.set(key, entry);
  for (const [figure, value] of Object.entries(measurement.figures)) {
    entry.rounds[figure] ??= [];
    entry.rounds[figure].push(value);
  }
}

function runPeer(peer: Peer, places: PeerPlaces): readonly Measurement[] | string {
  const clock = places.build ? join(places.build, 'cpuclock.so') : '';
  const env = existsSync(clock) ? { ...process.env, LD_PRELOAD: clock } : process.env;
  const lines = run(peer.command, env);
  return typeof lines === 'string' ? lines : lines.flatMap((line) => [...peer.translate(line)]);
}

function runOurs(job: PeerJob): readonly Measurement[] | string {
  const entry = fileURLToPath(new URL('./run-ours.ts', import.meta.url));
  const lines = run([process.execPath, ...process.execArgv, entry, job.name], process.env);
  return typeof lines === 'string' ? lines : (lines as unknown as Measurement[]);
}

function run(command: readonly string[], env: NodeJS.ProcessEnv): Record<string, unknown>[] | string {
  const [program, ...args] = command;
  const child = spawnSync(program!, args, { env, encoding: 'utf8', maxBuffer: 2 ** 28 });
  if (child.error) return `could not be started: ${child.error.message}`;
  if (child.status !== 0) return `ended with ${child.status ?? child.signal}: ${child.stderr.trim().slice(-400)}`;
  const lines = child.stdout.split('\n').filter((line) => line.startsWith('{'));
  if (lines.length === 0) return 'printed no measurement';
  return lines.map((line) => JSON.parse(line));
}
