// A lost session answers with the sign-in page, which is no answer to what was asked.

export function signedOut(request) {
  const place = request.responseURL && new URL(request.responseURL).pathname;
  return place === document.body.dataset.signIn;
}
