// What the kit adds to JupyterLab: it runs its notebooks when they are opened, names
// the controls that JupyterLab and its widgets leave without a name, lets the keyboard
// open folded code, and leaves a phone's width to the words.
//
// Running asks two things of a notebook: that it wants this (its metadata hold
// {"sizing": {"run_on_open": true}}), and that this folder vouches for it, which
// JupyterLab keeps as "trusted": the kit laid it here, or its user saved it here.
// A notebook that came by mail is not run.
//
// Written by hand in the form in which JupyterLab loads an extension, so that
// installing the kit needs no other tool.
(() => {
  // Where JupyterLab shows that a cell's code is folded away.
  const FOLDED = ".jp-InputPlaceholder > .jp-Placeholder-content";

  // Beside the words there is no room on a phone: of folded code only the button stays,
  // and no number stands before what a cell shows.
  const PHONE = `@media (max-width: 700px) {
    .jp-InputPlaceholder .jp-PlaceholderText,
    .jp-InputPlaceholder > .jp-Placeholder-prompt,
    .jp-OutputArea-child > .jp-OutputPrompt { display: none; }
    .jp-InputPlaceholder.jp-Placeholder { display: flex; justify-content: flex-end; }
    .jp-InputPlaceholder > .jp-Placeholder-content { flex: 0 0 auto; }
  }`;

  const wanted = (model) => {
    const ours = model.getMetadata("sizing");
    return Boolean(ours && ours.run_on_open);
  };

  const trusted = (model) => {
    const code = Array.from(model.cells).filter((cell) => cell.type === "code");
    return code.length > 0 && code.every((cell) => cell.trusted);
  };

  // Running all cells moves on to the last one: keep the page at its beginning
  // until its reader goes elsewhere herself.
  const stayAtTop = (notebook) => {
    const scroller = notebook.outerNode || notebook.node;
    const acts = ["wheel", "pointerdown", "keydown", "touchstart"];
    const top = () => {
      notebook.activeCellIndex = 0;
      notebook.deselectAll();
      scroller.scrollTop = 0;
    };
    const timer = window.setInterval(top, 100);
    const stop = () => {
      window.clearInterval(timer);
      acts.forEach((act) => window.removeEventListener(act, stop, true));
    };
    acts.forEach((act) => window.addEventListener(act, stop, true));
    return stop;
  };

  // A page opened again finds what it left: a kernel that may still be at old work,
  // full of old forms. It takes a fresh one, unless another tab has it open too.
  const freshen = async (app, panel) => {
    const session = panel.sessionContext.session;
    const kernel = session && session.kernel;
    if (!kernel) {
      return;
    }
    const { baseUrl, token } = app.serviceManager.serverSettings;
    const answer = await window.fetch(`${baseUrl}api/kernels/${kernel.id}`, {
      headers: { Authorization: `token ${token}` },
    });
    const { open, seen } = await answer.json();
    const others = (pages) => (pages || []).some((page) => page !== kernel.clientId);
    if (others(seen) && !others(open)) {
      // JupyterLab asks a kernel several things when it finds it, and logs an error
      // when the kernel goes before it has answered.
      await new Promise((later) => window.setTimeout(later, 500));
      await panel.sessionContext.changeKernel({ name: kernel.name });
    }
  };

  const run = async (app, panel) => {
    await panel.context.ready;
    await panel.revealed;
    const model = panel.content.model;
    if (!wanted(model) || !trusted(model)) {
      return;
    }
    await panel.sessionContext.ready;
    await freshen(app, panel).catch((reason) => console.warn("sizing:", reason));
    if (app.shell.currentWidget !== panel) {
      return;
    }
    const stop = stayAtTop(panel.content);
    try {
      await app.commands.execute("notebook:run-all-cells");
    } finally {
      stop();
    }
  };

  // A control without a name is only "slider" or "button" to whoever cannot see.
  const nameControls = () => {
    const named = (selector, name) =>
      document.querySelectorAll(`${selector}:not([aria-label])`).forEach((node) => {
        const words = name(node);
        if (words) {
          node.setAttribute("aria-label", words);
        }
      });
    named(".widget-inline-hbox .noUi-handle", (handle) => {
      const row = handle.closest(".widget-inline-hbox");
      const label = row.querySelector(".widget-label");
      return label && label.textContent;
    });
    named(".jp-collapseHeadingButton", () => "Fold this part of the page");
    named("#jp-title-panel-title input", () => "Name of this page");
    // A table to type in scrolls by itself where the screen is narrow.
    document.querySelectorAll(".sizing-wide:not([role])").forEach((node) => {
      const caption = node.previousElementSibling;
      node.setAttribute("role", "region");
      node.setAttribute("tabindex", "0");
      node.setAttribute("aria-label", caption ? caption.textContent : "Table");
    });
    // Folded code is a button; JupyterLab leaves it to the mouse.
    document.querySelectorAll(`${FOLDED}:not([role])`).forEach((node) => {
      node.setAttribute("role", "button");
      node.setAttribute("tabindex", "0");
      node.setAttribute("aria-label", `Show the code: ${node.textContent.trim()}`);
    });
    // Not pressed is nothing that this element of JupyterLab's can be.
    document
      .querySelectorAll('jp-button[aria-pressed="false"]:not([role])')
      .forEach((node) => node.removeAttribute("aria-pressed"));
    // The widgets write a title that they do not have as "null", for all to read.
    document
      .querySelectorAll('[title="null"]')
      .forEach((node) => node.removeAttribute("title"));
    // A feed holds articles; the cells here are none.
    document
      .querySelectorAll('.jp-WindowedPanel-viewport[role="feed"]')
      .forEach((node) => node.setAttribute("role", "group"));
  };

  // JupyterLab takes the keys for its commands unless somebody comes first.
  const openByKey = (event) => {
    const folded = event.target.closest && event.target.closest(FOLDED);
    if (!folded || (event.key !== "Enter" && event.key !== " ")) {
      return;
    }
    event.preventDefault();
    event.stopImmediatePropagation();
    const cell = folded.closest(".jp-Cell");
    folded.click();
    // The button is gone: stay at its cell.
    cell.setAttribute("tabindex", "-1");
    cell.focus();
  };

  const style = () => {
    const sheet = document.createElement("style");
    sheet.textContent = PHONE;
    document.head.appendChild(sheet);
    window.addEventListener("keydown", openByKey, true);
  };

  const keepNaming = () => {
    let waiting = false;
    const soon = () => {
      if (!waiting) {
        waiting = true;
        window.setTimeout(() => {
          waiting = false;
          nameControls();
        }, 200);
      }
    };
    new MutationObserver(soon).observe(document.body, {
      childList: true,
      subtree: true,
      attributeFilter: ["title"],
    });
    soon();
  };

  const activate = (app) => {
    const seen = new WeakSet();
    const consider = (panel) => {
      const notebook = panel && panel.context && panel.sessionContext && panel.content;
      if (!notebook || !panel.content.model || seen.has(panel)) {
        return;
      }
      seen.add(panel);
      run(app, panel).catch((reason) => console.warn("sizing:", reason));
    };
    app.shell.currentChanged.connect((_, change) => consider(change.newValue));
    style();
    keepNaming();
    void app.restored.then(() => consider(app.shell.currentWidget));
  };

  const plugin = { id: "sizing-lab:open", autoStart: true, activate };
  window._JUPYTERLAB = window._JUPYTERLAB || {};
  window._JUPYTERLAB["sizing-lab"] = {
    init: () => undefined,
    get: () => Promise.resolve(() => ({ __esModule: true, default: plugin })),
  };
})();
