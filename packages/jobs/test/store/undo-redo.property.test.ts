import { join } from 'node:path';
import { applyJobChange, EMPTY_JOB_DOCUMENT, type JobChange, type JobDocument } from '@lapjoint/engine';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createJob, type JournalEntry, openJob, openJobForWriting, replayJournal } from '../../src/index.ts';
import { scanAdded } from '../fixtures/changes.ts';
import { temporaryFolder } from '../fixtures/temporary-folder.ts';

const CREATED: JobChange = { kind: 'created', schemaVersion: 1, name: 'j', seed: 1 };
type Step = { readonly do: 'add'; readonly id: number } | { readonly do: 'undo' } | { readonly do: 'redo' };
const steps: fc.Arbitrary<Step[]> = fc.array(
  fc.oneof(
    fc.nat(99).map((id): Step => ({ do: 'add', id })),
    fc.constantFrom<Step>({ do: 'undo' }, { do: 'redo' }),
  ),
  { maxLength: 40 },
);

/** The textbook model: a list of documents and a place in it. */
class Model {
  documents: JobDocument[] = [applyJobChange(EMPTY_JOB_DOCUMENT, CREATED)];
  place = 0;
  apply(step: Step): boolean {
    if (step.do === 'undo' && this.place === 0) return false;
    if (step.do === 'redo' && this.place === this.documents.length - 1) return false;
    if (step.do === 'add') {
      this.documents.length = this.place + 1;
      this.documents.push(applyJobChange(this.current, scanAdded(`s${step.id}`)));
    }
    this.place += step.do === 'undo' ? -1 : 1;
    return true;
  }
  get current(): JobDocument {
    return this.documents[this.place] as JobDocument;
  }
}

describe('undo and redo', () => {
  it('behave as a list of states with a place in it, for any order of steps', () => {
    fc.assert(
      fc.property(steps, (list) => {
        const model = new Model();
        const entries: JournalEntry[] = [{ sequence: 1, time: '', summary: 'new', kind: 'change', change: CREATED }];
        for (const step of list) {
          const history = replayJournal(entries);
          const base = { sequence: entries.length + 1, time: '', summary: '' };
          const possible = model.apply(step);
          const target = step.do === 'undo' ? history.done.at(-1) : history.undone.at(-1);
          if (step.do === 'add') {
            entries.push({ ...base, kind: 'change', change: scanAdded(`s${step.id}`) });
          } else if (possible && target !== undefined) {
            entries.push({ ...base, kind: step.do, target: target.sequence });
          } else {
            expect(step.do === 'undo' ? target?.change.kind : target).toBe(step.do === 'undo' ? 'created' : undefined);
          }
          expect(replayJournal(entries).document).toEqual(model.current);
        }
      }),
      { seed: 11, numRuns: 300 },
    );
  });

  it('survive closing and opening the job, and name what they take back and bring back', async () => {
    const folder = join(temporaryFolder(), 'job');
    const first = await createJob(folder);
    await first.commit(scanAdded('a'), 'add a.ply');
    await first.commit(scanAdded('b'), 'add b.ply');
    await first.close();
    const second = await openJobForWriting(folder);
    expect(await second.undo()).toBe('add b.ply');
    expect(await second.undo()).toBe('add a.ply');
    await expect(second.undo()).rejects.toMatchObject({ code: 'nothing-to-undo' });
    await second.close();
    expect((await openJob(folder)).document.scans).toEqual([]);
    const third = await openJobForWriting(folder);
    expect(await third.redo()).toBe('add a.ply');
    await third.close();
    const fourth = await openJobForWriting(folder);
    await fourth.commit(scanAdded('c'), 'add c.ply');
    await expect(fourth.redo()).rejects.toMatchObject({ code: 'nothing-to-redo' });
    await fourth.close();
    expect((await openJob(folder)).document.scans.map((scan) => scan.id)).toEqual(['a', 'c']);
  });
});
