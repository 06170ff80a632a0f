// One line at the top of the page, for what the page's own parts cannot say: they hang on the server.

// What our scripts say, in the language that the page speaks; nothing on a page that is not ours.
export function texts() {
  try {
    const all = JSON.parse(document.getElementById("photocheck-texts").textContent);
    const asked = new URLSearchParams(location.search).get("language");
    return all[asked] ?? all[document.documentElement.lang] ?? {};
  } catch {
    return {};
  }
}

export function say(name, state = name) {
  const told = texts();
  if (!(name in told)) return null;
  let sign = document.querySelector(".pc-away");
  if (!sign) {
    sign = document.createElement("p");
    sign.className = "pc-away";
    sign.setAttribute("role", "status");
    // Streamlit's dialogs hide all else from readers of the page, but not what says this.
    sign.dataset.reactAriaTopLayer = "true";
    document.body.append(sign);
  }
  sign.dataset.state = state;
  if (sign.dataset.said !== told[name]) sign.textContent = sign.dataset.said = told[name];
  return sign;
}

export function unsay(state) {
  const sign = document.querySelector(".pc-away");
  if (sign?.dataset.state === state) sign.remove();
}
