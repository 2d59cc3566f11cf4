// A part of a page that takes long to make comes when the page is there, from the address that it names.
for (const part of document.querySelectorAll("[data-later]")) {
  part.setAttribute("aria-busy", "true");
  fetch(part.dataset.later)
    .then((answer) => answer.ok ? answer.text() : Promise.reject())
    .then((text) => part.replaceWith(new DOMParser().parseFromString(text, "text/html").getElementById(part.id)))
    .catch(() => part.removeAttribute("aria-busy"));  // the link in it leads there, too
}
