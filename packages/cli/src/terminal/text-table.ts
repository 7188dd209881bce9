/** Columns of text, two blanks apart, each as wide as its widest entry. */
export function textTable(head: readonly string[], rows: readonly (readonly string[])[]): string {
  const all = [head, ...rows];
  const widths = head.map((_, column) => Math.max(...all.map((row) => (row[column] ?? '').length)));
  const lineOf = (row: readonly string[]): string =>
    head
      .map((_, column) => (row[column] ?? '').padEnd(widths[column] ?? 0))
      .join('  ')
      .trimEnd();
  return all.map((row) => `${lineOf(row)}\n`).join('');
}
