import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';

const root = join(import.meta.dirname, '..', '..', '..');

/** Codes of errors and findings in the sources: the first words of their constructors, and `code:` fields. */
function codesInSources(): Map<string, string> {
  const codes = new Map<string, string>();
  for (const name of ['engine', 'jobs', 'cli']) {
    const folder = join(root, 'packages', name, 'src');
    for (const file of readdirSync(folder, { recursive: true, encoding: 'utf8' })) {
      if (!file.endsWith('.ts')) continue;
      const text = readFileSync(join(folder, file), 'utf8');
      for (const match of text.matchAll(/(?:new (?:AppError|FormatError)\(\s*|\bcode: )'([a-z][a-z0-9/-]+)'/g)) {
        codes.set(match[1] as string, `${name}/src/${file}`);
      }
    }
  }
  return codes;
}

describe('docs/errors.md', () => {
  it('lists every code in the sources', () => {
    const documentation = readFileSync(join(root, 'docs', 'errors.md'), 'utf8');
    const codes = codesInSources();
    expect(codes.size).toBeGreaterThan(60);
    const missing = [...codes].filter(([code]) => !documentation.includes(`\`${code}\``));
    expect(missing).toEqual([]);
  });

  it('lists no code that is gone', () => {
    const documentation = readFileSync(join(root, 'docs', 'errors.md'), 'utf8');
    const sources = ['engine', 'jobs', 'cli'].flatMap((name) => {
      const folder = join(root, 'packages', name, 'src');
      return readdirSync(folder, { recursive: true, encoding: 'utf8' })
        .filter((file) => file.endsWith('.ts'))
        .map((file) => readFileSync(join(folder, file), 'utf8'));
    });
    const listed = [...documentation.matchAll(/^\| (`[^|]+`)/gm)].flatMap((row) =>
      [...(row[1] as string).matchAll(/`([^`]+)`/g)].map((match) => match[1] as string),
    );
    expect(listed.length).toBeGreaterThan(60);
    expect(listed.filter((code) => !sources.some((text) => text.includes(`'${code}'`)))).toEqual([]);
  });
});
