// File fields that send what is chosen, one file after the other, and say how it went.
"use strict";
document.addEventListener("change", async (event) => {
  const field = event.target.closest && event.target.closest("input[data-posts]");
  if (!field) return;
  const told = field.closest(".sending").querySelector(".sent");
  const most = Number(field.dataset.most);
  const files = [...field.files];
  field.value = "";
  let said = "";
  for (const file of files) {
    if (file.size > most) {
      said = `${file.name} has ${(file.size / 1e6).toFixed(1)} MB; ${(most / 1e6).toFixed(0)} MB is the most. Send it smaller.`;
      continue;
    }
    told.textContent = `Sending ${file.name} …`;
    const form = new FormData();
    form.append("file", file, file.name);
    try {
      const answer = await fetch(field.dataset.posts, { method: "POST", body: form });
      if (!answer.ok) said = `${file.name}: ${(await answer.text()).slice(0, 200)}`;
    } catch {
      said = `${file.name} was not sent: no connection to the program. Choose it again once it is back.`;
    }
  }
  told.textContent = said;
});
