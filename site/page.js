"use strict";
{
  const state = document.getElementById("state");
  feedcalcEngine.startEngine({
    onStage: ({ name, done, total }) => { state.textContent = `${name} ${done} / ${total}`; },
    onReady: () => { state.textContent = ""; },
    onFailed: ({ message }) => { state.textContent = message; },
  });
  feedcalcOffline.watch();
}
