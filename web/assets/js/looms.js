export function loomsView() {}
