import { describe, expect, it } from 'vitest';
import { unpackLzf } from '../../src/formats/lzf.ts';

// Byte layout as in the description of the format: 000LLLLL literals; LLLooooo oooooooo reference of L + 2 bytes;
// 111ooooo LLLLLLLL oooooooo reference of L + 9 bytes; the offset counts back from the last byte, 0 is that byte.
describe('unpackLzf', () => {
  it('copies literals and references that overlap themselves', () => {
    const packed = Uint8Array.of(2, 1, 2, 3, (4 - 2) << 5, 2, (5 - 2) << 5, 0);
    expect([...(unpackLzf(packed, 12) ?? [])]).toEqual([1, 2, 3, 1, 2, 3, 1, 1, 1, 1, 1, 1]);
  });

  it('copies long references over far offsets', () => {
    const literals = Array.from({ length: 320 }, (_, i) => (i * 37) % 251);
    const packed: number[] = [];
    for (let at = 0; at < 320; at += 32) packed.push(31, ...literals.slice(at, at + 32));
    packed.push(0xe0 | 1, 100 - 9, 300 - 1 - 256);
    const out = [...(unpackLzf(Uint8Array.from(packed), 420) ?? [])];
    expect(out).toEqual([...literals, ...literals.slice(20, 120)]);
  });

  it('gives null for references before the start, and for a wrong size', () => {
    expect(unpackLzf(Uint8Array.of(0, 1, 2 << 5, 1), 5)).toBeNull();
    expect(unpackLzf(Uint8Array.of(0, 1), 2)).toBeNull();
    expect(unpackLzf(Uint8Array.of(5, 1), 6)).toBeNull();
    expect(unpackLzf(Uint8Array.of(1, 1, 2), 1)).toBeNull();
  });
});
