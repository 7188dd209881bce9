import { type ChildProcess, spawn } from 'node:child_process';
import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { makeRandom } from '@lapjoint/engine';
import { build } from 'esbuild';
import { expect } from 'vitest';
import { openJob, openJobForWriting, verifyJob } from '../../src/index.ts';

/** What many kills together showed, so that a test can see that it tested something. */
export interface KillTally {
  kills: number;
  /** Kills that left a half written journal line, temporary file or writer's claim behind. */
  leftovers: number;
  /** How often a kill came right after each word of the program. */
  readonly after: Record<string, number>;
  /** How often the job was found with an alignment and with a fused surface. */
  aligned: number;
  fused: number;
}

interface Program {
  readonly child: ChildProcess;
  readonly ended: Promise<unknown>;
  /** Last word and length of the journal that the program stated. */
  last: { word: string; length: number };
  /** Fulfilled when the program has said so many words. */
  said(words: number): Promise<void>;
}

/** How long the program took from one word to the next, as seen last; so kills spread over it on any machine. */
type Pace = Map<string, number>;

/** Makes one plain file of the program, since loading the sources anew for each kill would take most of the time. */
async function bundleProgram(path: string): Promise<void> {
  await build({
    entryPoints: [fileURLToPath(new URL('./busy-program.ts', import.meta.url))],
    outfile: path,
    bundle: true,
    platform: 'node',
    format: 'esm',
    conditions: ['source'],
    logLevel: 'error',
  });
}

function startProgram(path: string, folder: string, files: readonly string[], pace: Pace): Program {
  const child = spawn(process.execPath, [path, folder, ...files], {
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  const ended = new Promise((resolve) => child.once('exit', resolve));
  let text = '';
  let words = 0;
  let since = performance.now();
  const waiting: { words: number; resolve: () => void; reject: (error: Error) => void }[] = [];
  const program: Program = {
    child,
    ended,
    last: { word: 'starting', length: 0 },
    said: (count) =>
      words >= count
        ? Promise.resolve()
        : new Promise((resolve, reject) => waiting.push({ words: count, resolve, reject })),
  };
  child.once('exit', (code) => {
    for (const { reject } of waiting) reject(new Error(`The program ended by itself with ${code}.`));
  });
  child.stdout?.on('data', (chunk: Buffer) => {
    text += chunk.toString();
    const lines = text.split('\n');
    text = lines.pop() ?? '';
    for (const line of lines) {
      const [word = '', length = '0'] = line.split(' ');
      const now = performance.now();
      if (words > 0) pace.set(program.last.word, now - since);
      since = now;
      words++;
      program.last = { word, length: Number(length) };
    }
    for (const { resolve } of waiting.filter((item) => words >= item.words)) resolve();
  });
  return program;
}

/** Results that were seen finished, by what they were made from: they must never look different. */
type Seen = Map<string, string>;

async function checkJob(folder: string, acknowledged: number, before: Buffer, seen: Seen, tally: KillTally) {
  const journal = readFileSync(join(folder, 'journal.jsonl'));
  const left = readdirSync(join(folder, 'writers')).length + readdirSync(join(folder, 'temporary')).length;
  const job = await openJob(folder);
  if (left > 0 || job.tornByteLength > 0) tally.leftovers++;
  // Nothing that was there before is gone or different.
  expect(journal.subarray(0, before.length).equals(before)).toBe(true);
  // Everything that the program said was done is done, and at most one entry more.
  expect(job.entries.length).toBeGreaterThanOrEqual(acknowledged);
  expect(job.entries.length).toBeLessThanOrEqual(acknowledged + 1);
  const report = await verifyJob(folder, {});
  expect(report.intact).toBe(true);
  for (const result of [job.document.alignment, job.document.fused]) {
    if (result === null) continue;
    const key = JSON.stringify(result.record);
    const text = JSON.stringify(result);
    expect(seen.get(key) ?? text).toBe(text);
    seen.set(key, text);
  }
  if (job.document.alignment !== null) tally.aligned++;
  if (job.document.fused !== null) tally.fused++;
  // It can be written at once, though the killed program held the claim; the leftovers are swept away.
  const writer = await openJobForWriting(folder);
  await writer.close();
  expect(readdirSync(join(folder, 'writers'))).toEqual([]);
  expect(readdirSync(join(folder, 'temporary'))).toEqual([]);
}

/** Longest round of the program in words: three undos, add, align, fuse. */
const ROUND_WORDS = 6;
/** Taken for the time to the next word before one was seen. */
const FIRST_PACE_MS = 150;

/** A tally of nothing yet. */
export function emptyTally(): KillTally {
  return { kills: 0, leftovers: 0, after: {}, aligned: 0, fused: 0 };
}

/**
 * Kills a program with SIGKILL at random moments while it adds, aligns, fuses and undoes, and checks the job after
 * each kill: after a random number of finished operations, at a random moment of the next one.
 *
 * @param folder of an empty job; the bundled program is put beside it
 * @param tally counts on
 */
export async function killOften(
  folder: string,
  files: readonly string[],
  kills: number,
  tally: KillTally,
): Promise<void> {
  const random = makeRandom(tally.kills, 'kills');
  const path = join(folder, '..', 'busy-program.mjs');
  if (!existsSync(path)) await bundleProgram(path);
  const seen: Seen = new Map();
  const pace: Pace = new Map();
  for (let kill = 0; kill < kills; kill++) {
    const before = await openJob(folder).then((job) => {
      const journal = readFileSync(join(folder, 'journal.jsonl'));
      return journal.subarray(0, journal.length - job.tornByteLength);
    });
    const program = startProgram(path, folder, files, pace);
    await program.said(1 + random.integer(ROUND_WORDS));
    const delay = random.uniform() * (pace.get(program.last.word) ?? FIRST_PACE_MS);
    await new Promise((resolve) => setTimeout(resolve, delay));
    program.child.kill('SIGKILL');
    await program.ended;
    const { word, length } = program.last;
    tally.kills++;
    tally.after[word] = (tally.after[word] ?? 0) + 1;
    await checkJob(folder, length, before, seen, tally);
  }
}
