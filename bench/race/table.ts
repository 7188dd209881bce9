import type { PeerJob } from './job.ts';
import { type Entry, median, OURS, type RaceResult } from './race.ts';

/** Table of medians of one job, one part for each case, with the ratio of ours to the best peer below. */
export function raceTable(job: PeerJob, result: RaceResult): string {
  const lines: string[] = ['', job.title];
  for (const name of new Set(result.entries.map((entry) => entry.case))) {
    const entries = result.entries.filter((entry) => entry.case === name);
    const rows = [[name, ...job.figures.map((figure) => figure.label)]];
    for (const entry of entries) rows.push([entry.contender, ...job.figures.map((f) => show(entry, f.key, f.digits))]);
    if (entries.some((entry) => entry.contender !== OURS)) {
      rows.push(['ours / best peer', ...job.figures.map((f) => (f.isRaced ? ratio(entries, f.key) : ''))]);
    }
    lines.push('', ...align(rows));
  }
  for (const failure of result.failures) lines.push(`  no figures from ${failure}`);
  return lines.join('\n');
}

/** Ours divided by the smallest peer's median; empty where one of them is missing. */
export function ratio(entries: readonly Entry[], key: string): string {
  const own = entries.find((entry) => entry.contender === OURS);
  const ours = own ? middle(own, key) : null;
  const peers = entries
    .filter((entry) => entry.contender !== OURS)
    .map((entry) => middle(entry, key))
    .filter((value) => value !== null);
  if (ours === null || peers.length === 0) return '';
  return (ours / Math.min(...peers)).toFixed(2);
}

function middle(entry: Entry, key: string): number | null {
  const values = (entry.rounds[key] ?? []).filter((value) => typeof value === 'number');
  return values.length > 0 ? median(values) : null;
}

function show(entry: Entry, key: string, digits: number): string {
  const value = middle(entry, key);
  if (value !== null) return value.toFixed(digits);
  return String(entry.rounds[key]?.[0] ?? '');
}

function align(rows: readonly string[][]): string[] {
  const widths = rows[0]!.map((_, column) => Math.max(...rows.map((row) => row[column]!.length)));
  return rows.map((row) =>
    row.map((cell, column) => (column === 0 ? cell.padEnd(widths[0]!) : cell.padStart(widths[column]!))).join('  '),
  );
}
