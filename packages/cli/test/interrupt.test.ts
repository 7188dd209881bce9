import { spawn } from 'node:child_process';
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { openJob, verifyJob } from '@lapjoint/jobs';
import { describe, expect, it } from 'vitest';
import { writeBumpySheets } from '../../jobs/test/fixtures/bumpy-sheet.ts';
import { lapjoint } from './fixtures/recorded-console.ts';
import { temporaryFolder } from './fixtures/small-scans.ts';

const folder = temporaryFolder();
const files = writeBumpySheets(folder, 28);

async function jobWithScans(name: string): Promise<string> {
  const job = join(folder, name);
  await lapjoint(['new', job]);
  expect((await lapjoint(['add', job, ...files])).exitCode).toBe(0);
  return job;
}

/** Starts the program itself and calls back on each line of its events. */
function start(words: readonly string[], onLine: (line: string, kill: (signal: NodeJS.Signals) => void) => void) {
  const bin = join(import.meta.dirname, '..', 'bin', 'lapjoint.mjs');
  const child = spawn(process.execPath, ['--conditions=source', '--import', 'tsx', bin, ...words], {
    stdio: ['ignore', 'pipe', 'pipe'],
  });
  let error = '';
  let seen = 0;
  child.stderr.on('data', (chunk: Buffer) => {
    error += chunk.toString();
    const lines = error.split('\n');
    for (; seen < lines.length - 1; seen++) onLine(lines[seen] as string, (signal) => child.kill(signal));
  });
  return new Promise<{ exitCode: number | null; signal: NodeJS.Signals | null; error: string }>((resolve) => {
    child.once('close', (exitCode, signal) => resolve({ exitCode, signal, error }));
  });
}

describe.skipIf(process.platform === 'win32')('Ctrl+C', () => {
  it('once: stops cleanly with exit code 130, says so, and leaves the job as it was', async () => {
    const job = await jobWithScans('stopped');
    const before = readFileSync(join(job, 'journal.jsonl'));
    let asked = false;
    const run = await start(['align', job, '--events', '--workers', '2'], (line, kill) => {
      if (asked || !line.includes('progress')) return;
      asked = true;
      kill('SIGINT');
    });
    expect(run.exitCode).toBe(130);
    expect(run.error).toContain('Stopping; what is finished is kept.');
    expect(run.error).toContain('interrupted');
    expect(readFileSync(join(job, 'journal.jsonl'))).toEqual(before);
    expect(readdirSync(join(job, 'writers'))).toEqual([]);
    // The same command goes on from there.
    expect([0, 4]).toContain((await lapjoint(['align', job, '--workers', '2'])).exitCode);
    expect((await openJob(job)).document.alignment).not.toBeNull();
  });

  it('twice: stops at once; the job is unharmed', async () => {
    const job = await jobWithScans('stopped-now');
    let asked = 0;
    const run = await start(['align', job, '--events', '--workers', '2'], (line, kill) => {
      if (asked === 0 && line.includes('progress')) {
        asked = 1;
        kill('SIGINT');
      } else if (asked === 1 && line.includes('Stopping')) {
        asked = 2;
        kill('SIGINT');
      }
    });
    // When the clean stop was quicker than the second signal, the system ends the program by it: a shell calls that 130 too.
    expect(run.signal === 'SIGINT' ? 128 + 2 : run.exitCode).toBe(130);
    expect((await verifyJob(job, {})).intact).toBe(true);
    expect((await openJob(job)).document.alignment).toBeNull();
    expect((await lapjoint(['undo', job])).exitCode).toBe(0);
  });
});
