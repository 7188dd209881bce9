import { dirname, join } from 'node:path';
import type { SimulatedJob } from '@lapjoint/engine';

/**
 * The commands, word by word, that take the demo's files through the whole job, for someone in the folder from which
 * `demo` was run.
 *
 * @param folder the demo's folder as it was typed
 */
export function demoCommands(folder: string): string[][] {
  const job = join(dirname(folder), 'demo-job');
  const file = (name: string): string => join(folder, name);
  const add = (name: string, ...options: string[]): string[] => ['add', job, file(name), ...options];
  return [
    ['new', job],
    add('outside.ply', '--session', 'outside', '--instrument', 'tracked-laser', '--unit', 'mm'),
    add('targets-outside.csv', '--session', 'outside'),
    add('pins.csv', '--session', 'pins', '--frame', 'outside', '--instrument', 'touch-probe', '--kind', 'probe'),
    add('mechanism.stl', '--session', 'mechanism', '--instrument', 'handheld-laser', '--unit', 'mm'),
    add('targets-mechanism.csv', '--session', 'mechanism'),
    add('inside.obj', '--session', 'inside', '--instrument', 'structured-light', '--unit', 'm'),
    ['align', job],
    ['fuse', job],
    ['report', job, '--truth', file('truth.json')],
    ['handover', job, join(dirname(folder), 'demo-handover'), '--truth', file('truth.json')],
  ];
}

function quoted(word: string): string {
  return /^[\w./:-]+$/.test(word) ? word : `'${word.replaceAll("'", "'\\''")}'`;
}

/** What the folder holds and how to go on. */
export function demoReadme(job: SimulatedJob, folder: string): string {
  const lines = demoCommands(folder).map((words) => `  lapjoint ${words.map(quoted).join(' ')}`);
  const count = (name: string): string => {
    const scan = job.scans.find((s) => s.name === name)?.scan;
    return `${scan ? (scan.triangles?.length ?? 0) / 3 : 0} triangles`;
  };
  return `The cabin of a mountain ropeway, captured by virtual instruments
================================================================

All of this is invented: no such cabin exists. Its true shape and the true place of every scan are known, so results
can be compared with them. Size ${job.size}, seed ${job.seed}: the same size and seed give the same files.

outside.ply            session outside, tracked laser, mm: ${count('outside')}. All round and from above; the door
                       stands open, and a little of the inside is seen through it.
targets-outside.csv    targets that the tracked laser measured, mm, in the same frame.
pins.csv               session pins, touch probe in the frame of outside: centres of a tip of 1.5 mm radius that touched
                       pins, bushings and faces of the suspension, mm.
mechanism.stl          session mechanism, handheld laser, mm: ${count('mechanism')}. Arm, grip and roof, in a frame of
                       its own.
targets-mechanism.csv  its targets, about every 100 mm. Some of them are in targets-outside.csv too, under other names.
inside.obj             session inside, structured light, with colour, in METRES (the file does not say so):
                       ${count('inside')}. No targets; a frame of its own; overlaps with outside
                       only around the open door, and its far end is more than two metres from there.
truth.json             the true pose of every frame in the frame of outside, and the noise of every instrument.
truth.ply              the true surface as far as it was seen, in the frame of outside, mm.
commands.json          the commands below, word by word.

From the folder in which you ran the demo:

${lines.join('\n')}
`;
}
