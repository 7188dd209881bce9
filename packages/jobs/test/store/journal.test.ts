import { describe, expect, it } from 'vitest';
import { encodeJournalLine, type JournalEntry, parseJournal } from '../../src/index.ts';

const entryOf = (sequence: number): JournalEntry => ({
  sequence,
  time: '2026-01-02T03:04:05.000Z',
  summary: `Tür ${sequence} → offen`,
  kind: 'change',
  change: { kind: 'created', schemaVersion: 1, name: `job ${sequence}`, seed: sequence },
});

function journalOf(count: number): { bytes: Uint8Array; lines: Uint8Array[] } {
  const lines: Uint8Array[] = [];
  let sum = '0'.repeat(32);
  for (let sequence = 1; sequence <= count; sequence++) {
    const line = encodeJournalLine(entryOf(sequence), sum);
    lines.push(line.bytes);
    sum = line.sum;
  }
  return { bytes: Buffer.concat(lines), lines };
}

describe('journal', () => {
  const { bytes, lines } = journalOf(4);
  const startOfLast = bytes.length - (lines[3]?.length ?? 0);

  it('reads back what was written', () => {
    const content = parseJournal(bytes);
    expect(content.entries).toEqual([1, 2, 3, 4].map(entryOf));
    expect(content).toMatchObject({ validByteLength: bytes.length, tornByteLength: 0, damage: null });
    expect(parseJournal(new Uint8Array(0))).toMatchObject({ entries: [], damage: null, tornByteLength: 0 });
  });

  it('ignores a last line that was cut off at any byte, and says how many bytes it ignored', () => {
    for (let length = startOfLast; length < bytes.length; length++) {
      const content = parseJournal(bytes.slice(0, length));
      expect(content.damage).toBeNull();
      expect(content.entries).toHaveLength(3);
      expect(content.validByteLength).toBe(startOfLast);
      expect(content.tornByteLength).toBe(length - startOfLast);
    }
  });

  it('ignores a last line of zeros, as a power cut leaves it', () => {
    const content = parseJournal(Buffer.concat([bytes, new Uint8Array(300)]));
    expect(content).toMatchObject({ damage: null, tornByteLength: 300 });
    expect(content.entries).toHaveLength(4);
  });

  it('notices one flipped bit at any place, names the line, and trusts nothing from there on', () => {
    for (let at = 0; at < bytes.length; at++) {
      const changed = Uint8Array.from(bytes);
      changed[at] = (changed[at] as number) ^ (1 << (at % 8));
      const content = parseJournal(changed);
      const line = lines.findIndex((_, i) => at < lines.slice(0, i + 1).reduce((sum, item) => sum + item.length, 0));
      expect(content.damage?.line).toBe(line + 1);
      expect(content.entries).toHaveLength(line);
    }
  });

  it('notices lines that are lost, doubled or exchanged', () => {
    const [a, b, c, d] = lines as [Uint8Array, Uint8Array, Uint8Array, Uint8Array];
    expect(parseJournal(Buffer.concat([a, c, d])).damage?.line).toBe(2);
    expect(parseJournal(Buffer.concat([a, b, b, c, d])).damage?.line).toBe(3);
    expect(parseJournal(Buffer.concat([a, c, b, d])).damage?.line).toBe(2);
    expect(parseJournal(Buffer.concat([b, c, d])).damage?.line).toBe(1);
  });
});
