export function partView() {}
