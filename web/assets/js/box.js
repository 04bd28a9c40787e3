export function boxView() {}
