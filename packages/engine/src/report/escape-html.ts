const ENTITIES: Readonly<Record<string, string>> = {
  '&': '&amp;',
  '<': '&lt;',
  '>': '&gt;',
  '"': '&quot;',
  "'": '&#39;',
};

/** Text made safe for HTML and SVG, also inside attributes. File and scan names come from outside. */
export function escapeHtml(text: string): string {
  let out = '';
  for (const c of text) {
    const code = c.charCodeAt(0);
    // Control characters have no place in a page; they would only hide what a name is.
    out += code < 32 && c !== '\n' && c !== '\t' ? '\ufffd' : (ENTITIES[c] ?? c);
  }
  return out;
}
