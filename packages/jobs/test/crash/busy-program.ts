import { makeSerialRunner, PIPELINE_TASKS } from '@lapjoint/engine';
import { addFiles, alignJob, fuseJob, openJob, undoChange } from '../../src/index.ts';

// A program of its own that changes a job over and over until it is killed, and says after each operation how long
// the journal is. Arguments: job folder, then the files to add.
const [folder, ...files] = process.argv.slice(2) as [string, ...string[]];
const host = { runner: makeSerialRunner(PIPELINE_TASKS) };

async function say(word: string): Promise<void> {
  const { entries } = await openJob(folder);
  process.stdout.write(`${word} ${entries.length}\n`);
}

await say('ready');
for (;;) {
  // Starts from wherever the last one was killed.
  for (let { history } = await openJob(folder); history.done.length > 1; { history } = await openJob(folder)) {
    await undoChange(folder, 'undo');
    await say('undone');
  }
  await addFiles(folder, files, { unit: 'mm' }, host);
  await say('added');
  await alignJob(folder, {}, host);
  await say('aligned');
  await fuseJob(folder, {}, host);
  await say('fused');
}
