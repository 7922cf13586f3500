// The code came with the address, behind '#', which no server sees: fill it in, and take it out of the address.

const code = document.getElementById("code");
if (code && location.hash.length > 1) {
  code.value = decodeURIComponent(location.hash.slice(1)).slice(0, 40);
  history.replaceState(null, "", location.pathname);
}
const photos = document.getElementById("photos");
photos?.addEventListener("change", () => {
  if (!photos.files.length) return;
  document.getElementById("sending").hidden = false;
  photos.form.submit();
});
if (document.getElementById("running")) setTimeout(() => location.reload(), 2500);
