// Files of the service that the user saves.

import { announce } from "../elements/dom.js";
import { t } from "../language/messages.js";
import { messageOf, save } from "./service.js";

/** Save a file, and say what came of it. @param {string} path @param {string} file */
export async function saveFile(path, file) {
  try {
    await save(path, file);
    announce(t("saved", { name: file }));
  } catch (error) {
    announce(messageOf(error));
  }
}
