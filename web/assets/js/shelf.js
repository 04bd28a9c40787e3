export function shelfView() {}
