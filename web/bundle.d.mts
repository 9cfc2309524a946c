export function bundle(): Promise<Map<string, Buffer>>;
