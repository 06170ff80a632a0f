// What is typed is sent when its field is left.  A press leaves it first, also where the browser does
// not: where an assistive technology or the browser itself presses, and the focus stays in the field.

const TYPED_IN = "input:not([type=radio]):not([type=checkbox]):not([type=file]), textarea";
const PRESSED = "button, a, summary, [role=button], [role=tab], label";

addEventListener(
  "click",
  (event) => {
    const field = document.activeElement;
    if (!field?.matches(TYPED_IN) || !(event.target instanceof Element)) return;
    const pressed = event.target.closest(PRESSED);
    if (pressed && !pressed.contains(field) && pressed.control !== field) field.blur();
  },
  true,
);
