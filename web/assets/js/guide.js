export function guideView() {}
