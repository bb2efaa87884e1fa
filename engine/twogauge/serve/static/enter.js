// The token came with the address that was scanned: it is sent at once. Whoever only looks at a link runs no script.
document.getElementById("enter").requestSubmit();
