// A time zone that nobody has chosen yet is the browser's own, if the list has it.

const { timeZone } = Intl.DateTimeFormat().resolvedOptions();

for (const list of document.querySelectorAll("select[data-own-zone]")) {
  const own = [...list.options].find((option) => option.value === timeZone);
  if (!list.value && own) own.selected = true;
}
